//! Where the linker finds `memory.x`.

fn main() {
    println!(
        "cargo:rustc-link-search={}",
        concat!(env!("CARGO_MANIFEST_DIR"), "/..")
    );
    println!("cargo:rerun-if-changed=../memory.x");
}
