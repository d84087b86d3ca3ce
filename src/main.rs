//! Runs the command line and returns its exit code.

fn main() -> std::process::ExitCode {
    rigday::cli::main()
}
