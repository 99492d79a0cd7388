//! The program `strandrule`; everything it does stands in the library.

fn main() -> std::process::ExitCode {
    strandrule::cli::run()
}
