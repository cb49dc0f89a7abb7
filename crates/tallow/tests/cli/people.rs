//! Who may sign in: set up without a password ever being a word of a command.

use crate::shapes;
use crate::shop::Shop;

/// Sets somebody up by a password on standard input; gives what was answered.
#[track_caller]
fn set(shop: &Shop, words: &str, password: &str) -> crate::shop::Answer {
    shop.ask_with_input(&format!("person set {words} --password-stdin --json"), password.as_bytes())
}

#[test]
fn people_are_set_up_listed_changed_and_removed() {
    let shop = Shop::new();
    assert_eq!(shop.json("person"), serde_json::json!([]));
    let answer = set(&shop, "bosun --role own", "nine knots of wind\n");
    assert_eq!(answer.code, Some(0), "{}", answer.err);
    shapes::check("person set bosun", &serde_json::from_str(&answer.out).unwrap());
    assert_eq!(set(&shop, "mate --role record", "nine knots of tide\n").code, Some(0));
    shop.json("person set mate --role plan");
    let people = shop.json("person");
    let listed: Vec<_> = people.as_array().unwrap().iter().map(|person| (&person["person"], &person["role"])).collect();
    assert_eq!(listed, [(&"bosun".into(), &"own".into()), (&"mate".into(), &"plan".into())]);
    shop.json("person remove mate");
    assert_eq!(shop.json("person").as_array().unwrap().len(), 1);
}

#[test]
fn what_leaves_a_shop_without_an_owner_or_a_password_is_refused() {
    let shop = Shop::new();
    set(&shop, "mate --role record", "nine knots of tide\n").mentions(&["somebody must be left whose role is own"]);
    set(&shop, "bosun --role own", "too short\n").mentions(&["at least 10 letters"]);
    set(&shop, "bosun", "nine knots of wind\n").mentions(&["what may bosun do?", "--role"]);
    shop.refused("person set bosun --role own", &["there is nobody to ask for a password", "--password-stdin"]);
    assert_eq!(set(&shop, "bosun --role own", "nine knots of wind\n").code, Some(0));
    shop.refused("person set bosun --role plan", &["somebody must be left whose role is own"]);
    shop.refused("person remove bosum", &["no person is called", "bosun"]);
    shop.refused("token new bowline", &["no machine is called"]);
    shop.refused("token revoke 7", &["no token 7"]);
}

#[test]
fn nothing_that_was_kept_tells_a_password_or_a_token() {
    let shop = Shop::with_bowline();
    assert_eq!(set(&shop, "bosun --role own", "nine knots of wind\n").code, Some(0));
    let token = shop.json("token new bowline")["token"].as_str().unwrap().to_owned();
    let kept = std::fs::read(shop.place()).unwrap();
    for secret in ["nine knots", token.as_str()] {
        assert!(!kept.windows(secret.len()).any(|window| window == secret.as_bytes()), "\"{secret}\" can be read");
    }
}

#[test]
fn others_reach_a_shop_only_once_somebody_has_been_set_up() {
    let shop = Shop::new();
    let help = &["nobody has been set up", "tallow person set NAME --role own"];
    shop.refused("serve --listen 0.0.0.0:0", help);
    shop.refused("serve --listen 127.0.0.1:0 --name print.hall.example", help);
    shop.refused("serve --listen 127.0.0.1:0 --public-address https://loft.example", help);
    let help = &["\"loft.example\" has no https://", "--public-address https://loft.example"];
    shop.refused("serve --listen 127.0.0.1:0 --public-address loft.example", help);
    shop.write("not.pem", "no certificate");
    shop.refused("serve --listen 127.0.0.1:0 --certificate not.pem --key not.pem", &["not.pem"]);
}
