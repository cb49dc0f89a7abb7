//! Passwords and tokens: how they are made, and what is kept of them.

use std::sync::LazyLock;

use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};

use crate::input;
use crate::trouble::Trouble;

/// The fewest letters of a password. There is no other rule: length is what makes one hard to guess (NIST SP 800-63B, 5.1.1.2).
pub(crate) const FEWEST_LETTERS: usize = 10;

/// The most bytes of a password, so that hashing one is never much work.
const MOST_BYTES: usize = 1024;

/// Memory, KiB, passes and lanes of Argon2id: what OWASP's Password Storage Cheat Sheet recommends first of its equals.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);

/// What is kept of a password, in the PHC string format.
///
/// # Errors
/// A password that is too short or too long; a system without random numbers.
pub(crate) fn hashed(password: &str) -> Result<String, Trouble> {
    if password.chars().count() < FEWEST_LETTERS {
        return Err(Trouble::refused(format!("a password has at least {FEWEST_LETTERS} letters"))
            .help("a few words that do not belong together are easy to keep and hard to guess"));
    }
    if MOST_BYTES < password.len() {
        return Err(Trouble::refused("that password is too long").help(format!("give at most {MOST_BYTES} bytes")));
    }
    let salt = SaltString::encode_b64(&random::<16>()?).map_err(|error| Trouble::refused(error.to_string()))?;
    let hash = argon2().hash_password(password.as_bytes(), &salt);
    hash.map(|hash| hash.to_string())
        .map_err(|error| Trouble::refused(format!("the password can't be hashed: {error}")))
}

/// Whether `password` is the one of which `hash` is kept. It takes as long where nothing is kept, so that its time does not
/// tell who exists.
pub(crate) fn is_right(password: &str, hash: Option<&str>) -> bool {
    let is_known = hash.is_some();
    let Ok(hash) = PasswordHash::new(hash.unwrap_or(&NOBODYS)) else { return false };
    password.len() <= MOST_BYTES && argon2().verify_password(password.as_bytes(), &hash).is_ok() && is_known
}

/// The hash of a password that nobody has.
static NOBODYS: LazyLock<String> = LazyLock::new(|| {
    let salt = [0; 16];
    let made =
        SaltString::encode_b64(&salt).and_then(|salt| Ok(argon2().hash_password(b"nobody's", &salt)?.to_string()));
    // OK because the salt and the cost are fixed, and every start of the server computes it.
    made.expect("a fixed password can be hashed")
});

/// Makes what the first sign-in needs, so that it takes no longer than others.
pub(crate) fn prepare() {
    LazyLock::force(&NOBODYS);
}

fn argon2() -> Argon2<'static> {
    let (memory, passes, lanes) = COST;
    // OK because the cost is fixed and within Argon2's bounds.
    let params = Params::new(memory, passes, lanes, None).expect("a fixed cost");
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

/// A new token that nobody can guess: 256 random bits, as hexadecimal digits.
///
/// # Errors
/// A system without random numbers.
pub(crate) fn token() -> Result<String, Trouble> {
    Ok(random::<32>()?.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// What is kept of a token. It needs no salt and no slowness: nobody can try 2²⁵⁶ of them.
pub(crate) fn kept(token: &str) -> String {
    input::sha256(token.as_bytes())
}

fn random<const N: usize>() -> Result<[u8; N], Trouble> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)
        .map_err(|error| Trouble::refused(format!("the system gives no random numbers: {error}")))?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_kept_as_owasp_recommends_and_known_again() {
        let hash = hashed("nine knots of wind").unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert_ne!(hash, hashed("nine knots of wind").unwrap(), "each has its own salt");
        assert!(is_right("nine knots of wind", Some(&hash)));
        for wrong in ["Nine knots of wind", "nine knots of wind ", ""] {
            assert!(!is_right(wrong, Some(&hash)), "{wrong}");
        }
        assert!(!is_right("nobody's", None), "the stand-in opens nothing");
    }

    #[test]
    fn letters_are_counted_and_not_bytes() {
        assert!(hashed("čtyři uzly").is_ok(), "10 letters, 13 bytes");
        assert!(hashed("øøøøøøøøø").is_err(), "9 letters, 18 bytes");
        assert!(hashed(&"x".repeat(1025)).is_err());
    }

    #[test]
    fn tokens_have_256_bits_and_differ() {
        let (one, other) = (token().unwrap(), token().unwrap());
        assert!(one.len() == 64 && one != other && kept(&one) != one);
    }
}
