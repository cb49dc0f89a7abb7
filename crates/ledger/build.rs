//! Tells cargo that the migrations are compiled in, so that a new one is not overlooked.

fn main() {
    // `sqlx::migrate!` reads the folders at compile time, which cargo cannot see by itself.
    #[allow(clippy::print_stdout)] // The way to speak to cargo.
    {
        println!("cargo:rerun-if-changed=migrations");
    }
}
