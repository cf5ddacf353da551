//! Prints the script reference: `cargo run -p rules --example contract > scripts/README.md`.
#![expect(clippy::print_stdout, reason = "printing is what it is for")]

fn main() {
    print!("{}", rules::contract_markdown());
}
