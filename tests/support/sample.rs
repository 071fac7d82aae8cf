//! The sample block: its layout of section 5, and the two blocks of section 10.

use crate::{
    datasheet::{small, yes},
    examples::Transfer,
    markdown::Document,
    number::integer,
};
use std::collections::BTreeMap;

/// A field of the sample block, section 5, for one channel where it belongs to one.
#[derive(Clone, Debug)]
pub struct SampleField {
    /// As section 10.1 names it: `tag`, `sense 2`.
    pub name: String,
    /// Where it begins.
    pub offset: usize,
    /// Its width.
    pub bytes: usize,
    /// Whether it is two's complement.
    pub signed: bool,
}

impl SampleField {
    /// Its value in a sample block.
    #[must_use]
    pub fn read(&self, block: &[u8]) -> i128 {
        let bytes = &block[self.offset..self.offset + self.bytes];
        let value = bytes
            .iter()
            .fold(0, |value, &byte| value << 8 | i128::from(byte));
        if self.signed && bytes[0] >= 0x80 {
            value - (1 << (8 * self.bytes))
        } else {
            value
        }
    }
}

/// All fields of the sample block by offset, those of four channels included.
#[must_use]
pub fn sample_fields(document: &Document) -> Vec<SampleField> {
    let mut fields = Vec::new();
    for row in document
        .table("5 ", &["offset", "bytes", "signed", "content"])
        .rows()
    {
        let (bytes, signed) = (small(&row[1]), yes(&row[2]));
        match row[0].split_once(" + ") {
            None => fields.push(SampleField {
                name: field_name(&row[3]),
                offset: small(&row[0]),
                bytes,
                signed,
            }),
            Some((base, step)) => {
                let step: usize = small(
                    step.strip_suffix('c')
                        .unwrap_or_else(|| panic!("offset '{}'", row[0])),
                );
                let quantity = row[3].split(' ').next().unwrap_or_default().to_lowercase();
                for channel in 0..4 {
                    fields.push(SampleField {
                        name: format!("{quantity} {channel}"),
                        offset: small::<usize>(base) + step * channel,
                        bytes,
                        signed,
                    });
                }
            }
        }
    }
    fields.sort_by_key(|field| field.offset);
    fields
}

/// The name in 10.1 of what section 5 describes.
fn field_name(content: &str) -> String {
    let names = [
        ("tag", "tag"),
        ("WRITES", "writes"),
        ("active mode", "mode"),
        ("configuration", "configuration"),
        ("RANGES", "ranges"),
        ("block flags", "flags"),
        ("SCANS", "scans"),
        ("CRC-16", "crc"),
    ];
    let found = names.iter().find(|(begin, _)| content.starts_with(begin));
    found
        .map(|(_, name)| (*name).to_owned())
        .unwrap_or_else(|| panic!("block field '{content}'"))
}

/// A whole sample block.
#[derive(Clone, Debug)]
pub struct SampleBlock {
    /// The transfer that reads it, check byte included.
    pub transfer: Transfer,
    /// Its 111 bytes.
    pub block: Vec<u8>,
    /// Its fields by name (`sense 2`), where the document lists them.
    pub fields: BTreeMap<String, i128>,
}

/// The sample block of 10.1, with its fields.
#[must_use]
pub fn sample_block(document: &Document) -> SampleBlock {
    let fields = document
        .table("10.1 ", &["field", "value"])
        .rows()
        .map(|row| (row[0].clone(), integer(&row[1])));
    block(document.fence("10.1 "), fields.collect())
}

/// The sample block after a reset, of 10.2.
#[must_use]
pub fn reset_sample_block(document: &Document) -> SampleBlock {
    block(document.fence("10.2 "), BTreeMap::new())
}

fn block(text: &str, fields: BTreeMap<String, i128>) -> SampleBlock {
    let transfer = Transfer::parse(text);
    let parts = transfer.parts();
    // The last part is address, block, check byte.
    let read = parts.last().expect("a read");
    let block = read[1..read.len() - 1].to_vec();
    SampleBlock {
        transfer,
        block,
        fields,
    }
}

#[cfg(test)]
mod tests {
    use super::{reset_sample_block, sample_block, sample_fields};
    use crate::markdown::Document;

    /// The layout of section 5 cuts the block of 10.1 into the fields that 10.1 lists, in order and
    /// without a gap.
    #[test]
    fn the_layout_fits_the_listed_block() {
        let document = Document::corncrake();
        let listed = sample_block(&document);
        let fields = sample_fields(&document);
        let mut next = 0;
        for field in &fields {
            assert_eq!(field.offset, next, "{}", field.name);
            next += field.bytes;
            let value = field.read(&listed.block);
            assert_eq!(value, listed.fields[&field.name], "{}", field.name);
        }
        assert_eq!(fields.len(), listed.fields.len());
        assert_eq!(next, listed.block.len());
        assert_eq!(reset_sample_block(&document).block.len(), 111);
    }
}
