//! Logs with a mistake: one message each, with line and column, and status 2.

use std::io::Write;

use crake_sim::log::{Log, Mapping};

use super::*;

/// What is said, without the folder.
fn message(name: &str, text: &str, options: &[&str]) -> String {
    let path = log(name, text);
    let output = program(&[&["characterise", &path][..], options].concat());
    assert_eq!(output.status.code(), Some(2), "{name}");
    assert!(output.stdout.is_empty(), "{name}");
    let message = String::from_utf8(output.stderr).unwrap();
    let message = message.strip_suffix('\n').unwrap();
    assert!(!message.contains('\n'), "{message}");
    message.replace(&path, "log.csv")
}

#[test]
fn each_mistake_has_its_message() {
    let head = "time_s,rail,voltage_v,current_a\n";
    let cases: &[(&str, &str, &[&str], &str)] = &[
        (
            "a column that is missing",
            "time_s,rail,voltage_v\n0,A,3.3\n",
            &[],
            "log.csv:1:1: no column is called current or the like; the header has \"time_s\", \
             \"rail\", \"voltage_v\": name it with --column current=NAME",
        ),
        (
            "a column that is named and missing",
            "time_s,x\n0,1\n",
            &["--column", "current=I_LOAD"],
            "log.csv:1:1: no column is called \"I_LOAD\"; the header has \"time_s\", \"x\"",
        ),
        (
            "two columns for one quantity",
            "time_s,i_ma,u,current_a\n0,1,2,3\n",
            &[],
            "log.csv:1:15: column \"current_a\": it may be the current, as \"i_ma\" may: name one \
             with --column current=NAME",
        ),
        (
            "no number",
            "\n# of a board\n{head}0,A,3.3,1\n1,A,3.3,NaN\n",
            &[],
            "log.csv:5:9: current \"NaN\": not a finite decimal number such as 0.25",
        ),
        (
            "a time that is none",
            "{head}0,A,3.3,1\n1:30,A,3.3,1\n",
            &[],
            "log.csv:3:1: time \"1:30\": not a finite decimal number such as 12.5",
        ),
        (
            "out of order",
            "{head}0,A,3.3,1\n2,A,3.3,1\n1,B,3.3,1\n1.5,A,3.3,1\n",
            &[],
            "log.csv:5:1: time \"1.5\": not after the reading before of this rail, at 2 s",
        ),
        (
            "a unit of something else in the header",
            "time_s,current_mv\n0,1\n",
            &[],
            "log.csv:1:8: column \"current_mv\": mv is no unit of a current; it may be a, ma, ua, \
             na, ka",
        ),
        (
            "a unit of something else by option",
            "time_s,x\n0,1\n",
            &["--column", "current=x:V"],
            "log.csv:1:8: column \"x\": V is no unit of a current; it may be a, ma, ua, na, ka",
        ),
        (
            "milliamperes taken for amperes",
            "{head}0,A,3.3,1500\n",
            &[],
            "log.csv:2:9: current \"1500\": beyond 1000 in base units; if the column has another \
             unit, say so with --column current=NAME:UNIT",
        ),
        (
            "a truncated line",
            "{head}0,A,3.3,1\n1,A,3.",
            &[],
            "log.csv:3:5: torn line: it has 3 columns of 4; --pass-over-torn passes over such \
             lines and counts them",
        ),
        (
            "nothing but a header",
            "{head}",
            &[],
            "log.csv: there is no reading in it",
        ),
        ("nothing", "", &[], "log.csv: there is no line in it"),
        (
            "a rail without a name",
            "{head}0,,3.3,1\n",
            &[],
            "log.csv:2:3: rail \"\": it must not be empty",
        ),
        (
            "a rail with a control character",
            "{head}0,A,3.3,1\n0,\"B\u{1b}[31m\",3.3,1\n",
            &[],
            "log.csv:3:3: rail \"B\\u{1b}[31m\": it must be one line, without control characters",
        ),
        (
            "a rail with a name of 65 characters",
            "{head}0,\u{e9}123456789012345678901234567890123456789\
             0123456789012345678901234,3.3,1\n",
            &[],
            "log.csv:2:3: rail \"\u{e9}123456789012345678901234567890123456789\": it may have 64 \
             characters at the most",
        ),
        (
            "a time that is none of a log",
            "{head}-4600000000.1,A,3.3,1\n4600000000,A,3.3,1\n",
            &[],
            "log.csv:2:1: time \"-4600000000.1\": beyond 4600000000 s; if the column has another \
             unit, say so with --column time=NAME:UNIT",
        ),
        (
            "a limit of a rail that is not there",
            "{head}0,A,3.3,1\n",
            &["--limit", "B:over_current=1"],
            "--limit: no rail is called \"B\"; there is \"A\"",
        ),
    ];
    for (name, text, options, wanted) in cases {
        let text = text.replace("{head}", head);
        assert_eq!(
            message(name, &text, options),
            format!("crake-sim: {wanted}"),
            "{name}"
        );
    }
}

/// A line too long to be one, and a log that is a folder.
#[test]
fn what_is_no_log_is_refused() {
    let long = format!("time,current\n0,{}\n", "1".repeat(1 << 17));
    let said = message("long", &long, &[]);
    assert_eq!(
        said,
        "crake-sim: log.csv:2: a line of more than 64 KiB is no line of a log"
    );
    let output = program(&["characterise", "examples"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(
        said,
        "crake-sim: examples: is no file; a log is read more than once\n"
    );
    assert_eq!(output.status.code(), Some(2));
}

/// A name of 64 characters, and the earliest and the latest times that there are, 292 years apart.
#[test]
fn what_is_just_right_is_taken() {
    let name = "\u{e9}".repeat(64);
    let text = format!("t,rail,i\n-4600000000,{name},1\n4600000000,{name},1\n");
    let told = json(&["characterise", &log("just", &text)]);
    assert_eq!(told["rails"][0]["name"], name);
    assert_eq!(number(&told, "/rails/0/charge_c/net"), 9.2e9);
}

/// Limits and names by option, too great to be any.
#[test]
fn options_beyond_everything_are_refused() {
    let path = log("options", "t,i\n0,1\n");
    for (option, value, wanted) in [
        ("--limit", "log:over_current=1e300", "a million at most"),
        ("--rail", "A\nB", "without control characters"),
        ("--rail", &"x".repeat(65), "64 characters at the most"),
    ] {
        let output = program(&["characterise", &path, option, value]);
        assert_eq!(output.status.code(), Some(2));
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains(wanted), "{said}");
    }
}

/// A file that is longer, or has another rail, when it is gone through again.
#[test]
fn a_log_that_changes_meanwhile_is_refused() {
    for (added, other) in [("2,A,1\n", "1 more"), ("2,B,1\n", "another rail")] {
        let path = log("growing", "t,rail,i\n0,A,1\n1,A,1\n");
        let mut log = Log::open(path.as_ref(), &Mapping::default()).unwrap();
        let mut rows = 0;
        let first = log.each(|_, _| rows += 1).unwrap();
        assert_eq!((first.rows, rows), (2, 2));
        assert_eq!(log.each(|_, _| ()), Ok(first));
        let mut file = fs::OpenOptions::new().append(true).open(&path).unwrap();
        file.write_all(added.as_bytes()).unwrap();
        let error = log.each(|rail, _| assert_eq!(rail, 0)).unwrap_err();
        let said = error.to_string().replace(&path, "log.csv");
        let wanted =
            "log.csv: it changed while it was read, which happens more than once: copy it first";
        assert_eq!(said, wanted, "{other}");
    }
}

/// Two lines torn, one of them by a character that is lost: only the check value tells that.
#[test]
fn torn_lines_are_passed_over_and_counted_when_asked_for() {
    let line = |body: &str| {
        // CRC-16/GENIBUS, bit by bit (RevEng's catalogue: poly 0x1021, init and xorout 0xFFFF).
        let mut crc = 0xFFFF_u16;
        for byte in body.bytes() {
            crc ^= u16::from(byte) << 8;
            for _ in 0..8 {
                let carry = crc >> 15 == 1;
                crc <<= 1;
                if carry {
                    crc ^= 0x1021;
                }
            }
        }
        format!("{body},{:04X}\n", !crc)
    };
    let mut text = String::from("time_s,current_a,check\n");
    for second in 0..10 {
        text += &line(&format!("{second}.0,1.25"));
    }
    let whole = json(&["characterise", &log("whole", &text)]);
    assert_eq!(
        (&whole["rows"], &whole["torn_lines"]),
        (&10.into(), &0.into())
    );

    let torn = text
        .replacen("5.0,1.25", "5.0,1.2", 1)
        .replacen("7.0,1.25,", "7.0,1.", 1);
    let said = message("torn", &torn, &[]);
    assert!(
        said.contains("log.csv:7:9: torn line: its check value is another; "),
        "{said}"
    );
    let told = json(&["characterise", &log("torn", &torn), "--pass-over-torn"]);
    assert_eq!((&told["rows"], &told["torn_lines"]), (&8.into(), &2.into()));
    assert_eq!(told["first_torn_line"], 7);
    assert_eq!(number(&told, "/rails/0/current_a/mean"), 1.25);
}
