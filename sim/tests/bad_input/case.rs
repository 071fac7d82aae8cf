use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

pub const VALID: &str = r#"title = "t"
duration_s = 2
[part]
model = "corncrake"
scan_rate = 2000
[[rail]]
name = "LOGIC"
channel = 0
[rail.sense]
resistance_ohm = 0.5
tolerance_percent = 1
temperature_coefficient_ppm_per_k = 50
thermal_resistance_k_per_w = 20
sense_full_scale_v = 0.025
rail_full_scale_v = 6.5
[rail.source]
kind = "constant"
voltage_v = 3.3
impedance_ohm = 0.5
[rail.load]
kind = "recorded"
file = "load.csv"
interpolation = "linear"
at_end = "hold"
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "forward"
greatest_a = 0.03
"#;
/// Nothing is replaced.
pub const SAME: (&str, &str) = ("title", "title");
pub const RECORDING: &str = "0,0.01\n1,0.02\n2,0.01\n";

/// A directory of its own with a scenario and its recording in it, and what came of running it.
pub struct Case {
    pub directory: PathBuf,
}

impl Case {
    pub fn new(name: &str, scenario: &str, recording: Option<&str>) -> Self {
        let directory = Path::new(env!("CARGO_TARGET_TMPDIR"))
            .join("bad_input")
            .join(name);
        // What an earlier run of this test has left.
        let _ = fs::remove_dir_all(&directory);
        fs::create_dir_all(&directory).unwrap();
        fs::write(directory.join("scenario.toml"), scenario).unwrap();
        if let Some(recording) = recording {
            fs::write(directory.join("load.csv"), recording).unwrap();
        }
        Self { directory }
    }

    pub fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_crake-sim"))
            .current_dir(&self.directory)
            .args(["run"])
            .args(arguments)
            .output()
            .unwrap()
    }

    /// Every file under the directory with its bytes.
    pub fn contents(&self) -> Vec<(PathBuf, Option<Vec<u8>>)> {
        let (mut found, mut open) = (Vec::new(), vec![self.directory.clone()]);
        while let Some(directory) = open.pop() {
            for entry in fs::read_dir(directory).unwrap() {
                let path = entry.unwrap().path();
                let bytes = path.is_file().then(|| fs::read(&path).unwrap());
                if bytes.is_none() {
                    open.push(path.clone());
                }
                found.push((path, bytes));
            }
        }
        found.sort();
        found
    }

    /// Runs with these arguments, which must fail with one line that begins with the place and
    /// tells of `about`.
    pub fn refuses(&self, arguments: &[&str], place: &str, about: &str) {
        let before = self.contents();
        let output = self.run(arguments);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert!(
            errors.starts_with(&format!("crake-sim: {place}: ")) && errors.contains(about),
            "{errors}instead of {place}: ... {about}"
        );
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert_eq!(output.status.code(), Some(2), "{errors}");
        assert!(output.stdout.is_empty(), "{errors}");
        assert_eq!(self.contents(), before, "{errors}and something was written");
    }
}
