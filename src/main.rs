//! The program `strandrule`; everything it does stands in the library.

#[cfg(not(target_family = "wasm"))]
fn main() -> std::process::ExitCode {
    strandrule::cli::run()
}

/// A browser runs the library; there is no command line in it.
#[cfg(target_family = "wasm")]
fn main() {}
