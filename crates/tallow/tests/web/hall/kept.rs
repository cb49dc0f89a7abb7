//! Processes that are killed and started again, as whoever runs a hall has them looked after.

use std::net::TcpListener;
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::plain::get;

/// A program that is started again whenever it has ended.
pub(super) struct Kept {
    words: Vec<String>,
    store: String,
    files: String,
    child: Mutex<Option<Child>>,
    is_over: AtomicBool,
}

/// Runs the program on a store, by the real clock.
pub(super) fn tallow(store: &str, files: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tallow"));
    command.env("TALLOW_SHOP", store).env("TALLOW_FILES", files).env("TZ", "Europe/Lisbon").env_remove("TALLOW_NOW");
    command
}

impl Kept {
    pub(super) fn start(store: &str, files: &str, words: &[&str]) -> Kept {
        let words = words.iter().map(|&word| word.to_owned()).collect();
        let (store, files) = (store.to_owned(), files.to_owned());
        let kept = Kept { words, store, files, child: Mutex::new(None), is_over: AtomicBool::new(false) };
        kept.look_after();
        kept
    }

    /// Starts it again if it has ended.
    pub(super) fn look_after(&self) {
        let mut child = self.child.lock().unwrap();
        let has_ended = child.as_mut().is_none_or(|child| child.try_wait().unwrap().is_some());
        if has_ended && !self.is_over.load(Ordering::SeqCst) {
            let mut command = tallow(&self.store, &self.files);
            *child = Some(command.args(&self.words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap());
        }
    }

    /// Kills it at once (SIGKILL).
    pub(super) fn kill(&self) {
        if let Some(child) = self.child.lock().unwrap().as_mut() {
            // OK to ignore: it may have ended by itself just now.
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// Ends it for good.
    pub(super) fn end(&self) {
        self.is_over.store(true, Ordering::SeqCst);
        self.kill();
    }
}

impl Drop for Kept {
    fn drop(&mut self) {
        self.end();
    }
}

/// A port that nobody listens at.
pub(super) fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// Waits until a server answers.
pub(super) fn answers(address: &str) {
    let until = Instant::now() + Duration::from_secs(60);
    while Instant::now() < until {
        if get("/api/machine/list").to_address(address).is_some_and(|heard| heard.status == 200) {
            return;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    panic!("nobody answers at {address}");
}
