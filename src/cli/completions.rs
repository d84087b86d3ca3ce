//! `rigday completions`: what a shell needs to complete commands and options.

use super::env::Env;
use super::{Answer, Exit};
use clap::{Args, ValueEnum};
use clap_complete::aot::{Generator, generate};

/// Options of `completions`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The shell
    shell: Shell,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Shell {
    /// `rigday completions bash > ~/.local/share/bash-completion/completions/rigday`
    Bash,
    /// `rigday completions zsh > _rigday` in a folder of $fpath
    Zsh,
    /// `rigday completions fish > ~/.config/fish/completions/rigday.fish`
    Fish,
}

/// Prints the completions.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let script = match arguments.shell {
        Shell::Bash => script(clap_complete::Shell::Bash),
        Shell::Zsh => script(clap_complete::Shell::Zsh),
        Shell::Fish => script(clap_complete::Shell::Fish),
    };
    env.print(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Done)
}

fn script(shell: impl Generator) -> Vec<u8> {
    let mut script = Vec::new();
    generate(shell, &mut super::definition(), "rigday", &mut script);
    script
}
