use std::fmt::{self, Display};

use crate::bus::{Event, Transaction};

/// A transaction as one line of JSON (docs/trace.md describes it), without the end of the line.
pub(super) struct Line<'a>(pub(super) &'a Transaction);

impl Display for Line<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Transaction {
            start_ns,
            stop_ns,
            events,
        } = self.0;
        write!(
            f,
            r#"{{"start_ns":{start_ns},"stop_ns":{stop_ns},"messages":["#
        )?;
        let messages = events.split(|event| *event == Event::Restart);
        for (i, events) in messages.enumerate() {
            let (comma, start) = if i == 0 { ("", "S") } else { (",", "Sr") };
            write!(f, r#"{comma}{{"start":"{start}","#)?;
            message(f, events)?;
            f.write_str("}")?;
        }
        f.write_str("]}")
    }
}

/// What follows one START: an address byte, whoever put it on the wire, and the bytes after it.
fn message(f: &mut fmt::Formatter<'_>, events: &[Event]) -> fmt::Result {
    let mut bytes = events.iter().filter_map(|event| match *event {
        Event::Sent { byte, acknowledged } | Event::Received { byte, acknowledged } => {
            Some((byte, acknowledged))
        }
        Event::Restart | Event::Incomplete => None,
    });
    if let Some((byte, acknowledged)) = bytes.next() {
        let (address, read) = (byte >> 1, byte & 1 == 1);
        write!(
            f,
            r#""address":{address},"read":{read},"acknowledged":{acknowledged},"#
        )?;
    } else {
        f.write_str(r#""address":null,"read":null,"acknowledged":null,"#)?;
    }
    let (bytes, acknowledges): (Vec<u8>, Vec<bool>) = bytes.unzip();
    // A list of numbers or of truth values is the same in JSON as in Rust's debugging notation.
    write!(
        f,
        r#""bytes":{bytes:?},"acknowledges":{acknowledges:?},"broken_off":{}"#,
        events.contains(&Event::Incomplete)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    // Written by hand from the description in docs/trace.md.
    #[test]
    fn a_repeated_start_a_refused_address_and_a_byte_broken_off() {
        let sent = |byte, acknowledged| Event::Sent { byte, acknowledged };
        let received = |byte, acknowledged| Event::Received { byte, acknowledged };
        let line = |events: &[Event]| {
            Line(&Transaction {
                start_ns: 7,
                stop_ns: 900,
                events: events.to_vec(),
            })
            .to_string()
        };
        assert_eq!(
            line(&[
                sent(0x64, true),
                sent(0x05, true),
                Event::Restart,
                sent(0x65, true),
                received(0x0F, true),
                received(0xAA, false),
            ]),
            concat!(
                r#"{"start_ns":7,"stop_ns":900,"messages":["#,
                r#"{"start":"S","address":50,"read":false,"acknowledged":true,"bytes":[5],"acknowledges":[true],"broken_off":false},"#,
                r#"{"start":"Sr","address":50,"read":true,"acknowledged":true,"bytes":[15, 170],"acknowledges":[true, false],"broken_off":false}]}"#
            )
        );
        assert_eq!(
            line(&[sent(0x80, false)]),
            concat!(
                r#"{"start_ns":7,"stop_ns":900,"messages":["#,
                r#"{"start":"S","address":64,"read":false,"acknowledged":false,"bytes":[],"acknowledges":[],"broken_off":false}]}"#
            )
        );
        assert_eq!(
            line(&[Event::Incomplete]),
            concat!(
                r#"{"start_ns":7,"stop_ns":900,"messages":["#,
                r#"{"start":"S","address":null,"read":null,"acknowledged":null,"bytes":[],"acknowledges":[],"broken_off":true}]}"#
            )
        );
    }
}
