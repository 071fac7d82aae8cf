//! The page that `characterise --out` writes.

use super::*;

/// A log of this text, characterised: its object and its page.
fn characterised(name: &str, text: &str, options: &[&str]) -> (Value, String) {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("page")
        .join(name);
    fs::create_dir_all(&directory).unwrap();
    let path = directory.join("log.csv");
    fs::write(&path, text).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .args(["characterise", path.to_str().unwrap()])
        .args(["--overwrite", "--out", directory.to_str().unwrap()])
        .args(options)
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{errors}");
    let object = fs::read(directory.join("characterise.json")).unwrap();
    let page = fs::read_to_string(directory.join("characterise.html")).unwrap();
    (serde_json::from_slice(&object).unwrap(), page)
}

fn names(figure: &Value) -> Vec<&str> {
    let panels = figure["panels"].as_array().unwrap().iter();
    panels
        .map(|panel| panel["name"].as_str().unwrap())
        .collect()
}

fn values(figure: &Value, panel: usize) -> Vec<f64> {
    numbers(&figure["panels"][panel]["curves"][0]["v"])
}

/// The cells of the overview, row by row.
fn overview(page: &str) -> Vec<Vec<String>> {
    let table = page.split("</table>").next().unwrap();
    let row = |row: &str| {
        let row = row.replace("</th>", "</td>");
        let ends = row.rsplit("</td>").skip(1);
        let mut cells: Vec<String> = ends
            .map(|cell| cell.rsplit('>').next().unwrap().to_owned())
            .collect();
        cells.reverse();
        cells
    };
    table.split("<tr>").skip(1).map(row).collect()
}

const UNEVEN: &str = "t_s,u,i_ma\n0,2,1000\n1,2,2000\n3,2,2000\n6,2,-1000\n";

/// The step from 3 to 6 s is longer than 2.5 s.
#[test]
fn a_gap_is_marked() {
    let (_, page) = characterised("gap", UNEVEN, &["--gap", "2.5"]);
    let spans = figures(&page)[0]["spans"].as_array().unwrap().clone();
    assert_eq!(spans.len(), 1);
    assert_eq!(numbers(&spans[0]["time"]), [3.0, 6.0]);
}

/// Readings at 0, 1, 3 and 6 s of 1, 2, 2 and -1 A at 2 V: 1.5 C and 4 C, then 2 C out in 2 s and
/// 0.5 C back in 1 s. Each reading counts half of the time to its neighbours: 7/6 A in the mean.
#[test]
fn a_logs_page_has_what_flowed() {
    let limit = ["--rail", "X", "--limit", "X:over_power=3"];
    let (_, page) = characterised("uneven", UNEVEN, &limit);
    let figures = figures(&page);
    assert_eq!(figures.len(), 1);
    let figure = &figures[0];
    assert_eq!(figure["link"], "log");
    let quantities = ["Voltage", "Current", "Power", "Charge", "Energy"];
    assert_eq!(names(figure), quantities);
    let expected = [
        [2.0, 2.0, 2.0, 2.0],
        [1.0, 2.0, 2.0, -1.0],
        [2.0, 4.0, 4.0, -2.0],
        [0.0, 1.5, 5.5, 7.0],
        [0.0, 3.0, 11.0, 14.0],
    ];
    for (panel, expected) in expected.iter().enumerate() {
        assert_eq!(values(figure, panel), expected, "{}", quantities[panel]);
        let limits = figure["panels"][panel]["limits"].as_array().unwrap();
        assert_eq!(limits.len(), usize::from(panel == 2));
    }
    let both = ["out", "back"];
    let heads = ["rail", "voltage", "current", "power", "charge"];
    let heads = [&heads[..], &both, &["energy"], &both].concat();
    let cells = [
        "X",
        "2.000 V",
        "1.167 A",
        "2.333 W",
        "1.944 mAh", // 7 C
        "2.083 mAh", // 7.5 C
        "138.9 µAh", // 0.5 C
        "3.889 mWh", // 14 J
        "4.167 mWh", // 15 J
        "277.8 µWh", // 1 J
    ];
    assert_eq!(overview(&page), [heads, cells.to_vec()]);
    // Nothing flows across a gap.
    let (_, page) = characterised("gap", UNEVEN, &["--gap", "2.5"]);
    let figure = &super::figures(&page)[0];
    assert_eq!(values(figure, 3), [0.0, 1.5, 5.5, 5.5]);
    assert_eq!(values(figure, 4), [0.0, 3.0, 11.0, 11.0]);
}

/// Without voltage and power there is neither power nor energy, and the page says so. What flows
/// one way alone has no columns for both.
#[test]
fn a_log_of_current_alone_says_what_is_not_there() {
    let (_, page) = characterised("current", "t,i\n0,1\n3600,1\n", &["--rail", "X"]);
    assert_eq!(names(&figures(&page)[0]), ["Current", "Charge"]);
    assert!(page.contains("The log has neither voltage nor power of this rail"));
    let heads = ["rail", "voltage", "current", "power", "charge", "energy"];
    let cells = ["X", "-", "1.000 A", "-", "1.000 Ah", "-"];
    assert_eq!(overview(&page), [heads, cells]);
}

/// A calendar's times count from the whole second in which the log begins, which the caption has;
/// a single reading stands in the middle of a second.
#[test]
fn times_have_room_on_their_axis() {
    let text = "t,rail,i\n1764397816.125,A,1\n1764397816.75,B,1\n1764397817.5,A,2\n";
    let (_, page) = characterised("calendar", text, &[]);
    let figures = figures(&page);
    let caption = "A: readings, and totals by them, from 1764397816 s on";
    assert_eq!(figures[0]["caption"], caption);
    // A double has a calendar's seconds to some 0.2 µs.
    let near = |list: &Value, expected: [f64; 2]| {
        let found = numbers(list);
        let mut pairs = found.iter().zip(expected);
        assert!(found.len() == 2 && pairs.all(|(found, at)| (found - at).abs() < 1e-6));
    };
    near(&figures[0]["time"], [0.125, 1.5]);
    near(&figures[0]["panels"][0]["curves"][0]["t"], [0.125, 1.5]);
    near(&figures[1]["time"], [0.25, 1.25]);
}

/// More readings than are drawn, with a gap, back and forth: curves end at the object's totals, to
/// the eight digits that a page has, and every peak is there.
#[test]
fn a_long_logs_curves_end_at_its_totals() {
    let mut text = String::from("t_ms,rail,u_mv,i_ma\n");
    for n in 0..20_000_u32 {
        let ms = 10 * n + n % 3 + if n > 12_000 { 60_000 } else { 0 };
        let current = match n {
            7_777 => 9_999,
            // The totals end between what they were just before.
            19_996 | 19_997 => 2_000,
            19_998.. => -1_000,
            _ => [300, -100, 200, -200, 500, 0, 130][n as usize % 7],
        };
        text += &format!(
            "{ms},A,{},{current}\n{ms},B,3300,{}\n",
            9_999 - current,
            -current
        );
    }
    let (told, page) = characterised("long", &text, &["--gap", "1"]);
    let figures = figures(&page);
    assert_eq!(figures.len(), 2);
    for (rail, figure) in told["rails"].as_array().unwrap().iter().zip(&figures) {
        for (panel, total) in [(3, "charge_c"), (4, "energy_j")] {
            let curve = values(figure, panel);
            assert!(curve.len() < 10_000, "{}", curve.len());
            let net = rail[total]["net"].as_f64().unwrap();
            let end = *curve.last().unwrap();
            assert!((end - net).abs() <= 5e-8 * net.abs(), "{end} for {net}");
            // No greatest value and no least one, and yet it is there.
            assert!(curve.iter().any(|value| value.abs() > end.abs()));
        }
        for (panel, of) in [(0, "voltage_v"), (1, "current_a"), (2, "power_w")] {
            let curve = values(figure, panel);
            for (end, curves) in [
                ("least", curve.iter().copied().reduce(f64::min)),
                ("greatest", curve.iter().copied().reduce(f64::max)),
            ] {
                let read = rail[of][end].as_f64().unwrap();
                assert!(alike(curves.unwrap(), read, 7), "{of}: {end} {curves:?}");
            }
        }
    }
}
