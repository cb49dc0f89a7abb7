//! `tallow person` and `tallow token`: who may, and which machines book by themselves.

use std::io::{self, BufRead, IsTerminal};

use jiff::Timestamp;
use ledger::{Ledger, MachineToken, Person, Role};
use serde_json::{Value, json};
use upkeep::Unknown;

use crate::cli::{self, PersonWord, RoleWord, TokenWord};
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::secret;
use crate::trouble::Trouble;
use crate::when;

pub(crate) async fn person(context: &Context, args: &cli::Person) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    match &args.what {
        None => list(context, &ledger).await,
        Some(PersonWord::Set(args)) => set(context, &ledger, args).await,
        Some(PersonWord::Remove(args)) => {
            let name = named(&ledger, &args.name).await?.name;
            ledger.remove_person(&name).await?;
            say(context, json!({ "said": format!("{name} can sign in no more; what was recorded stays") }))
        }
    }
}

async fn list(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let people = ledger.people().await?;
    if context.json {
        return context.out.json(&people.iter().map(person_shape).collect());
    }
    if people.is_empty() {
        return context.out.line("Nobody has been set up: the shop is served to its own machine alone, and asks nobody.\nThe first: tallow person set NAME --role own");
    }
    let mut table = Table::new([("person", Align::Left), ("role", Align::Left), ("since", Align::Left)]);
    for person in &people {
        table.row(
            [person.name.clone(), person.role.word().to_owned(), day(context, ledger, person.since)],
            Dress::Plain,
        );
    }
    context.out.table(&table)
}

fn person_shape(person: &Person) -> Value {
    json!({ "person": person.name, "role": person.role.word(), "since": person.since.to_string() })
}

async fn set(context: &Context, ledger: &Ledger, args: &cli::PersonSet) -> Result<(), Trouble> {
    let known = ledger.people().await?.into_iter().find(|person| person.name == args.name);
    let role = args.role.map(role).or(known.as_ref().map(|person| person.role));
    let role = role.ok_or_else(|| {
        Trouble::refused(format!("what may {} do?", args.name)).help("say so: --role look, record, plan or own")
    })?;
    let password = match (args.password_stdin, args.new_password || known.is_none()) {
        (true, _) => Some(first_line(io::stdin().lock())?),
        (false, true) if context.is_served() => return Err(no_password_here()),
        (false, true) => Some(asked()?),
        (false, false) => None,
    };
    let hash = password.as_deref().map(secret::hashed).transpose()?;
    let said = put(ledger, &args.name, role, hash.as_deref(), context.now).await?;
    say(context, json!({ "said": said }))
}

/// Sets somebody up, or changes a role, and the password where its hash is given. Gives what was done, in words.
///
/// # Errors
/// A name that nobody can have; somebody new without a password; where nobody would be left who may say who may.
pub(crate) async fn put(
    ledger: &Ledger,
    name: &str,
    role: Role,
    hash: Option<&str>,
    at: Timestamp,
) -> Result<String, Trouble> {
    let is_known = ledger.password_of(name).await?.is_some();
    ledger.set_person(name, role, hash, at).await?;
    let word = role.word();
    Ok(match (is_known, hash) {
        (false, _) => format!("{name} can sign in; the role is {word}"),
        (true, None) => format!("the role of {name} is {word}"),
        (true, Some(_)) => format!("{name} has a new password; the role is {word}"),
    })
}

/// The role of the option `--role`.
fn role(word: RoleWord) -> Role {
    match word {
        RoleWord::Look => Role::Look,
        RoleWord::Record => Role::Record,
        RoleWord::Plan => Role::Plan,
        RoleWord::Own => Role::Own,
    }
}

/// A password without the end of its line.
fn first_line(mut from: impl BufRead) -> Result<String, Trouble> {
    let mut line = String::new();
    from.read_line(&mut line).map_err(|error| Trouble::refused(format!("no password can be read: {error}")))?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}

/// A password typed twice, without showing it.
fn asked() -> Result<String, Trouble> {
    if !io::stdin().is_terminal() {
        return Err(Trouble::refused("there is nobody to ask for a password").help(
            "give it on standard input: --password-stdin; never as a word of the command, where others can read it",
        ));
    }
    let ask = |prompt: &str| {
        let typed = rpassword::prompt_password(prompt);
        typed.map_err(|error| Trouble::refused(format!("no password can be read: {error}")))
    };
    let first = ask("Password: ")?;
    match ask("Once more: ")? == first {
        true => Ok(first),
        false => Err(Trouble::refused("the two passwords differ").help("nothing was changed; try again")),
    }
}

/// That no password comes this way.
fn no_password_here() -> Trouble {
    Trouble::refused("whoever is new needs a password, and none is taken here")
        .help("set the person up on the page People, or on the server: tallow person set NAME --role ROLE")
}

async fn named(ledger: &Ledger, name: &str) -> Result<Person, Trouble> {
    let people = ledger.people().await?;
    Ok(Unknown::find("person", name, &people, |person| &person.name)?.clone())
}

pub(crate) async fn token(context: &Context, args: &cli::Token) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    match &args.what {
        None => tokens(context, &ledger).await,
        Some(TokenWord::New(args)) => {
            let machine = context::machine(&ledger, &args.machine).await?.info.name;
            let token = secret::token()?;
            let number = ledger.add_token(&machine, &secret::kept(&token), &args.label, context.now).await?;
            let said = format!("token {number} may book the runs of {machine}; it is shown this once");
            say(context, json!({ "said": said, "number": number, "token": token }))
        }
        Some(TokenWord::Revoke(args)) => {
            ledger.revoke_token(args.token).await?;
            say(context, json!({ "said": format!("token {} is revoked", args.token) }))
        }
    }
}

async fn tokens(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let tokens = ledger.tokens().await?;
    if context.json {
        return context.out.json(&tokens.iter().map(token_shape).collect());
    }
    if tokens.is_empty() {
        return context.out.line("No machine books by itself. A token for one: tallow token new MACHINE");
    }
    let columns =
        [("token", Align::Right), ("machine", Align::Left), ("has it", Align::Left), ("last used", Align::Left)];
    let mut table = Table::new(columns);
    for token in &tokens {
        let used = token.used.map_or_else(|| "never".to_owned(), |used| day(context, ledger, used));
        table.row([token.id.to_string(), token.machine.clone(), token.label.clone(), used], Dress::Plain);
    }
    context.out.table(&table)
}

fn token_shape(token: &MachineToken) -> Value {
    json!({
        "number": token.id, "machine": token.machine, "label": token.label, "made": token.made.to_string(),
        "used": token.used.map(|used| used.to_string()),
    })
}

fn day(context: &Context, ledger: &Ledger, at: Timestamp) -> String {
    when::spoken(&at.to_zoned_datetime(context.now_in(ledger).time_zone().clone()))
}

/// Says what was done; a token, if there is one, on a line of its own.
fn say(context: &Context, answer: Value) -> Result<(), Trouble> {
    if context.json {
        return context.out.json(&answer);
    }
    for key in ["said", "token"] {
        if let Some(line) = answer.get(key).and_then(Value::as_str) {
            context.out.line(line)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::first_line;

    #[test]
    fn a_password_ends_where_its_line_does_and_keeps_its_blanks() {
        assert_eq!(first_line(&b" two words \r\nmore\n"[..]).unwrap(), " two words ");
        assert_eq!(first_line(&b""[..]).unwrap(), "");
    }
}
