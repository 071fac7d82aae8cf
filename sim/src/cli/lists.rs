//! Alerts and faults, as the report has them: a header, and one row each.

use std::io;

use crate::run::Report;

/// Every alert.
pub(super) fn alerts(report: &Report) -> io::Result<String> {
    let header = [
        "time_s",
        "rail",
        "kind",
        "output",
        "value",
        "limit",
        "crossing_to_edge_s",
        "edge_to_event_s",
    ];
    let rows = report.alerts.iter().map(|alert| {
        [
            alert.time_s.to_string(),
            alert.rail.clone(),
            alert.kind.to_owned(),
            alert.output.to_owned(),
            cell(alert.value),
            cell(alert.limit),
            cell(alert.crossing_to_edge_s),
            cell(alert.edge_to_event_s),
        ]
    });
    table(header, rows)
}

/// Every fault of the scenario.
pub(super) fn faults(report: &Report) -> io::Result<String> {
    let rows = report.faults.iter().map(|fault| {
        [
            fault.what.clone(),
            fault.times.to_string(),
            cell(fault.first_s),
            cell(fault.last_s),
        ]
    });
    table(["what", "times", "first_s", "last_s"], rows)
}

/// Empty where there is no figure.
fn cell(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

fn table<const N: usize>(
    header: [&str; N],
    rows: impl Iterator<Item = [String; N]>,
) -> io::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header)?;
    for row in rows {
        writer.write_record(row)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(csv::IntoInnerError::into_error)?;
    String::from_utf8(bytes).map_err(io::Error::other)
}
