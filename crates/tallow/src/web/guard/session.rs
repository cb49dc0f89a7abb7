//! Who asks: the session that a browser's cookie names, or the machine whose token a program sends.

use axum::http::{HeaderMap, HeaderValue, Method, header};
use jiff::{SignedDuration, Timestamp};
use ledger::Session;

use super::{May, Visitor, cookie, text};
use crate::secret;
use crate::trouble::Trouble;
use crate::web::app::App;

/// A session ends that was not used for so long. It is long because phones in a workshop are put away for a holiday, and a
/// keeper with oily hands must not type a password at the machine; who loses a phone ends its session from elsewhere.
const IDLE: SignedDuration = SignedDuration::from_hours(14 * 24);

/// How old a token gets before it is replaced, so that one that was copied is of no use for long.
const RENEWED: SignedDuration = SignedDuration::from_hours(24);

/// Use is noted at most so often, so that looking at pages does not write.
const NOTED: SignedDuration = SignedDuration::from_mins(10);

/// Letters that are kept of what a browser calls itself.
const DEVICE_LETTERS: usize = 200;

/// The instant since which a session must have been used.
pub(crate) fn idle_since(now: Timestamp) -> Timestamp {
    now.saturating_sub(IDLE).unwrap_or(Timestamp::MIN)
}

/// Who asks; and the cookie with the session's new token, if it got one.
///
/// # Errors
/// Where the shop can't be read.
pub(super) async fn visitor(
    app: &App,
    path: &str,
    method: &Method,
    headers: &HeaderMap,
) -> Result<(Visitor, Option<HeaderValue>), Trouble> {
    if let Some(token) = bearer(headers).filter(|_| super::is_for_programs(path)) {
        return Ok((of_machine(app, token).await?, None));
    }
    let now = app.now().timestamp();
    if let Some(token) = cookie(headers, name(app)) {
        let kept = secret::kept(&token);
        if let Some(session) = app.ledger.session(&kept, idle_since(now), now).await? {
            let renewed = renewed(app, method, &session, &kept, now).await?;
            let visitor =
                Visitor { name: Some(session.person), may: May::Role(session.role), session: Some(session.id) };
            return Ok((visitor, renewed));
        }
    }
    let asks_nobody = app.door.is_at_home() && !app.ledger.has_people().await?;
    let may = if asks_nobody { May::Role(ledger::Role::Own) } else { May::Nothing };
    Ok((Visitor { name: None, may, session: None }, None))
}

/// Renews the token of a session that is due for it, and notes its use.
async fn renewed(
    app: &App,
    method: &Method,
    session: &Session,
    kept: &str,
    now: Timestamp,
) -> Result<Option<HeaderValue>, Trouble> {
    // Only where a page is looked at: what signs out or changes a password sets the cookie itself.
    if RENEWED <= now.duration_since(session.renewed) && method == Method::GET {
        let token = secret::token()?;
        if app.ledger.renew_session(kept, &secret::kept(&token), now).await? {
            return Ok(Some(set_cookie(app, &token)));
        }
    } else if NOTED <= now.duration_since(session.seen) {
        app.ledger.note_session(session.id, now).await?;
    }
    Ok(None)
}

async fn of_machine(app: &App, token: &str) -> Result<Visitor, Trouble> {
    let Some(token) = app.ledger.token(&secret::kept(token)).await? else { return Ok(Visitor::default()) };
    let now = app.now().timestamp();
    if token.used.is_none_or(|used| NOTED <= now.duration_since(used)) {
        app.ledger.note_token(token.id, now).await?;
    }
    let name = format!("{} (token {})", token.machine, token.id);
    Ok(Visitor { name: Some(name), may: May::Machine(token.machine), session: None })
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    let (scheme, token) = text(headers, header::AUTHORIZATION)?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

/// Signs somebody in, on the device that sent these headers, and gives the cookie that says so. The token is always new: one
/// that somebody else put into the browser before opens nothing.
///
/// # Errors
/// Somebody who has not been set up; a shop that can't be written.
pub(crate) async fn start(app: &App, person: &str, headers: &HeaderMap) -> Result<HeaderValue, Trouble> {
    let token = secret::token()?;
    let device =
        text(headers, header::USER_AGENT).unwrap_or("unknown").chars().take(DEVICE_LETTERS).collect::<String>();
    app.ledger.start_session(person, &secret::kept(&token), &device, app.now().timestamp()).await?;
    Ok(set_cookie(app, &token))
}

/// The cookie that makes a browser forget its session.
pub(crate) fn forget(app: &App) -> HeaderValue {
    dressed(app, "", 0)
}

fn set_cookie(app: &App, token: &str) -> HeaderValue {
    dressed(app, token, IDLE.as_secs())
}

fn dressed(app: &App, value: &str, seconds: i64) -> HeaderValue {
    let secure = if app.door.is_encrypted() { "; Secure" } else { "" };
    let text = format!("{}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age={seconds}{secure}", name(app));
    // OK because a token is hexadecimal digits.
    HeaderValue::from_str(&text).expect("plain ASCII")
}

/// The cookie's name. With the prefix browsers take it from this very server alone, encrypted (RFC 6265bis, 4.1.3.2).
fn name(app: &App) -> &'static str {
    if app.door.is_encrypted() { "__Host-session" } else { "session" }
}
