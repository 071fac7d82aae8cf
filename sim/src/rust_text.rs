//! Numbers and quantities as text of Rust.

/// A quantity as the driver's constructors have it, in the greatest unit in which it is whole.
pub(crate) fn call(quantity: &str, billionths: i64) -> String {
    let name = match quantity {
        "Resistance" => "ohms",
        "Current" => "amps",
        _ => "volts",
    };
    let units = [
        (1_000_000_000, ""),
        (1_000_000, "milli"),
        (1_000, "micro"),
        (1, "nano"),
    ];
    let whole = units.into_iter().find(|(unit, _)| billionths % unit == 0);
    let (unit, prefix) = whole.unwrap_or((1, "nano"));
    format!(
        "{quantity}::from_{prefix}{name}({})",
        grouped(billionths / unit)
    )
}

/// Digits in groups of three.
pub(crate) fn grouped(number: i64) -> String {
    let digits = crate::quantity::count(number.unsigned_abs()).replace(' ', "_");
    match number < 0 {
        true => format!("-{digits}"),
        false => digits,
    }
}
