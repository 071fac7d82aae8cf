/// The value of fields beside each other, the most significant first: each with its number of bits,
/// which it must not exceed.
pub(super) fn fields(fields: &[(u64, u32)]) -> u64 {
    let append = |value, (field, bits): &(u64, u32)| (value << bits) + field;
    fields.iter().fold(0, append)
}
