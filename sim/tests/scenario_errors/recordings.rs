//! Mistakes in recordings.

use crake_sim::scenario::{Draws, ProfilePlan, Scenario};

use crate::scenario_errors::{RECORDED, folder, message, recording, with_load};

#[test]
fn mistakes_in_recordings_have_their_messages_and_lines() {
    let good = "0,1\n1,2\n";
    let cases: &[(&str, (&str, &str), &str)] = &[
        ("", ("", ""), "{}: rail \"LOGIC\": there is no row of data"),
        (
            "# only\n\n# comments\n",
            ("", ""),
            "{}: rail \"LOGIC\": there is no row of data",
        ),
        (
            "# c\n\n0,1\n# c\n\n1,2\n# c\n1,3\n",
            ("", ""),
            "{}:8: rail \"LOGIC\": time 1: not after the time of the row before; rows must be in \
             order of time",
        ),
        (
            "0,1\r\n\r\n# c\r\n1,x\r\n",
            ("", ""),
            "{}:4: rail \"LOGIC\": value x: not a number; if this row is a header, give columns \
             by name",
        ),
        (
            "t,i\n0,1\n",
            ("", ""),
            "{}:1: rail \"LOGIC\": time t: not a number; if this row is a header, give columns by \
             name",
        ),
        (
            "0,1\n1,nan\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": value nan: not a finite number; write a decimal number such as \
             0.25",
        ),
        (
            "0,1\ninf,1\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": time inf: not a finite number; write a decimal number such as \
             0.25",
        ),
        (
            "0,1\n1,\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": the value in column 1 (from 0) is empty",
        ),
        (
            "0,1\n1\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": there is no column 1 (from 0) for the value; the row has 1",
        ),
        (
            "0,1\n1,1000.5\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": value 1000.5: a current must lie between -1000 and 1000 A",
        ),
        (
            "0,1\n4e9,1\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": time 4e9: a time must lie within 100 years, in seconds",
        ),
        (
            "0,1\n",
            ("", ""),
            "case.toml:36: rail \"LOGIC\": a repeated recording needs at least two points",
        ),
        (
            "t,i\n0,1\n1,2\n",
            (
                "interpolation",
                "time_column = \"t\"\nvalue_column = \"u\"\ninterpolation",
            ),
            "{}:1: rail \"LOGIC\": no column is called \"u\"; the header has \"t\", \"i\"",
        ),
        (
            "a,b,c,d,e,f,g,h,i,j,k,l,m\n0,1\n",
            ("interpolation", "value_column = \"u\"\ninterpolation"),
            "{}:1: rail \"LOGIC\": no column is called \"u\"; the header has \"a\", \"b\", \"c\", \
             \"d\", \"e\", \"f\", \"g\", \"h\", \"i\", \"j\", \"k\", \"l\"",
        ),
        (
            good,
            ("interpolation", "separator = \"\\n\"\ninterpolation"),
            "case.toml:39: rail \"LOGIC\": separator = \"\\n\": it must be one ASCII character, \
             or \"tab\"",
        ),
        (
            good,
            ("interpolation", "value_column = -1\ninterpolation"),
            "case.toml:39: rail \"LOGIC\": value_column = -1: a column is a whole number from 0 \
             to 1000, or a name in the header",
        ),
        (
            good,
            ("interpolation", "separator = \"comma\"\ninterpolation"),
            "case.toml:39: rail \"LOGIC\": separator = \"comma\": it must be one ASCII character, \
             or \"tab\"",
        ),
        (
            good,
            ("interpolation = \"hold\"\n", ""),
            "case.toml:36: rail \"LOGIC\": [rail.load] needs interpolation: \"hold\" or \"linear\"",
        ),
        (
            good,
            ("\"hold\"", "\"cubic\""),
            "case.toml:39: rail \"LOGIC\": interpolation = \"cubic\": it must be \"hold\" or \
             \"linear\"",
        ),
        (
            good,
            ("at_end = \"repeat\"\n", ""),
            "case.toml:36: rail \"LOGIC\": [rail.load] needs at_end: \"repeat\", \"hold\" or \
             \"zero\"",
        ),
        (
            good,
            ("\"repeat\"", "\"stop\""),
            "case.toml:40: rail \"LOGIC\": at_end = \"stop\": it must be \"repeat\" or \"hold\" \
             or \"zero\"",
        ),
        (
            good,
            ("interpolation", "scale = 1001\ninterpolation"),
            "case.toml:39: rail \"LOGIC\": scale = 1001: a scale must lie between -1000 and 1000",
        ),
        (
            good,
            ("interpolation", "scale = 600\ninterpolation"),
            "case.toml:36: rail \"LOGIC\": values may come to 1200 A (or V); they must stay \
             within ±1000",
        ),
    ];
    for (index, (rows, edit, expected)) in cases.iter().enumerate() {
        let name = format!("recording-{index}.csv");
        let expected = expected.replace("{}", &name);
        assert_eq!(recording(&name, rows, *edit), expected, "{rows:?} {edit:?}");
    }
    let missing = with_load(&RECORDED.replace("spoilt", "missing"));
    assert_eq!(
        message(&missing),
        "case.toml:38: rail \"LOGIC\": file = \"missing.csv\": missing.csv is not there"
    );
    // A file is no folder.
    let within = with_load(&RECORDED.replace("spoilt.csv", "recording-0.csv/x.csv"));
    assert_eq!(
        message(&within),
        "case.toml:38: rail \"LOGIC\": file = \"recording-0.csv/x.csv\": recording-0.csv/x.csv cannot \
         be looked at"
    );
    let unnamed = with_load(&RECORDED.replace("file", "fiel"));
    assert_eq!(
        message(&unnamed),
        "case.toml:36: rail \"LOGIC\": [rail.load] needs file: the path of a recording, relative \
         to the scenario"
    );
}

#[test]
fn a_recording_that_is_no_text_is_refused() {
    let name = "bytes.csv";
    std::fs::write(folder().join(name), b"0,1\n1,\xFF\n").unwrap();
    let text = with_load(&RECORDED.replace("spoilt.csv", name));
    assert_eq!(
        message(&text),
        "bytes.csv: rail \"LOGIC\": cannot be read: it is not UTF-8 text"
    );
}

#[test]
fn a_header_may_name_the_columns_and_times_begin_at_the_first_row() {
    let rows = "# c\nload;note;t\n-0.5;x;1700000000.25\n0.25;y;1700000001\n";
    std::fs::write(folder().join("named.csv"), rows).unwrap();
    let load = "kind = \"recorded\"\nfile = \"named.csv\"\n\
                time_column = \"t\"\nvalue_column = \"load\"\n\
                separator = \";\"\ninterpolation = \"hold\"\nat_end = \"hold\"\n";
    let scenario = Scenario::parse(&with_load(load), folder().join("case.toml")).unwrap();
    let Draws::Current(ProfilePlan::Recorded { points, .. }) = &scenario.rails[0].load[0].draws
    else {
        panic!("a recording");
    };
    assert_eq!(points, &[(0, -500_000_000), (750_000_000, 250_000_000)]);
}
