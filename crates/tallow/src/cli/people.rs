//! The words of `tallow person` and `tallow token`.

use clap::{Args, Subcommand, ValueEnum};

#[derive(Args, Debug)]
pub(crate) struct Person {
    /// What to say of people; lists them if left out
    #[command(subcommand)]
    pub(crate) what: Option<PersonWord>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum PersonWord {
    /// Set somebody up, or change a role or a password; it is asked for, and not shown
    #[command(after_help = "\
Examples:
  tallow person set bosun --role own
  tallow person set mate --role record --password-stdin < password.txt
  tallow person set mate --role plan
  tallow person set mate --new-password")]
    Set(PersonSet),
    /// Let somebody sign in no more; what that person recorded stays
    #[command(after_help = "Example:\n  tallow person remove mate")]
    Remove(PersonRemove),
}

/// What a person may do; each role may do what those before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum RoleWord {
    /// See everything
    Look,
    /// Record what happened
    Record,
    /// Plan visits, and set what plans rest on
    Plan,
    /// Say who may
    Own,
}

#[derive(Args, Debug)]
pub(crate) struct PersonSet {
    /// The name to sign in with
    pub(crate) name: String,
    /// What the person may do; as it was if left out
    #[arg(long, value_name = "ROLE")]
    pub(crate) role: Option<RoleWord>,
    /// Ask for a new password
    #[arg(long)]
    pub(crate) new_password: bool,
    /// Take the password from standard input: its first line
    #[arg(long)]
    pub(crate) password_stdin: bool,
}

#[derive(Args, Debug)]
pub(crate) struct PersonRemove {
    /// The name
    pub(crate) name: String,
}

#[derive(Args, Debug)]
pub(crate) struct Token {
    /// What to do with tokens; lists them if left out
    #[command(subcommand)]
    pub(crate) what: Option<TokenWord>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum TokenWord {
    /// Make a token with which a machine, or the computer beside it, books its own runs; it is shown once
    #[command(after_help = "Example:\n  tallow token new bowline --label \"its computer\"")]
    New(TokenNew),
    /// Let a token book nothing any more
    #[command(after_help = "Example:\n  tallow token revoke 3")]
    Revoke(TokenRevoke),
}

#[derive(Args, Debug)]
pub(crate) struct TokenNew {
    /// The machine
    pub(crate) machine: String,
    /// What has it
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) label: String,
}

#[derive(Args, Debug)]
pub(crate) struct TokenRevoke {
    /// Its number
    #[arg(value_name = "NUMBER")]
    pub(crate) token: i64,
}
