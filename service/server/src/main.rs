//! The binary `benchclock`; everything is in the library.
fn main() -> std::process::ExitCode {
    benchclock::cli::run()
}
