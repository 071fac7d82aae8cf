use std::io;

use crate::run::Report;

const HEADER: [&str; 8] = [
    "time_s",
    "rail",
    "kind",
    "output",
    "value",
    "limit",
    "crossing_to_edge_s",
    "edge_to_event_s",
];

/// Every alert, as the report has it: a header, and one row each.
pub(super) fn table(report: &Report) -> io::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEADER)?;
    let number = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    for alert in &report.alerts {
        writer.write_record([
            alert.time_s.to_string().as_str(),
            &alert.rail,
            alert.kind,
            alert.output,
            &number(alert.value),
            &number(alert.limit),
            &number(alert.crossing_to_edge_s),
            &number(alert.edge_to_event_s),
        ])?;
    }
    let bytes = writer
        .into_inner()
        .map_err(csv::IntoInnerError::into_error)?;
    String::from_utf8(bytes).map_err(io::Error::other)
}
