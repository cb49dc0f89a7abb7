//! A broker of messages on this computer.

#![allow(dead_code)] // Each test program uses its own part.

use std::fs;
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// A broker on this computer that keeps what it was given.
pub(crate) struct Broker {
    folder: tempfile::TempDir,
    /// Where it listens.
    pub(crate) port: u16,
    running: Option<Child>,
}

impl Broker {
    /// One that lets everybody in.
    pub(crate) fn new() -> Broker {
        Broker::with(|_| "allow_anonymous true".to_owned())
    }

    /// One that lets in nobody but `tallow`, and by this password alone.
    pub(crate) fn closed(password: &str) -> Broker {
        Broker::with(|folder| {
            let file = folder.join("people");
            let made =
                Command::new("mosquitto_passwd").args(["-b", "-c"]).arg(&file).args(["tallow", password]).status();
            assert!(made.unwrap().success());
            format!("allow_anonymous false\npassword_file {}", file.display())
        })
    }

    fn with(who: impl FnOnce(&Path) -> String) -> Broker {
        let folder = tempfile::tempdir().unwrap();
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let settings = format!(
            "listener {port} 127.0.0.1\n{}\npersistence true\npersistence_location {}/\nmax_queued_messages 0\n\
             log_type error\nuser root\n",
            who(folder.path()),
            folder.path().display()
        );
        fs::write(folder.path().join("broker.conf"), settings).unwrap();
        let mut broker = Broker { folder, port, running: None };
        broker.start();
        broker
    }

    /// Starts it, again where it was killed.
    pub(crate) fn start(&mut self) {
        let program =
            ["/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"].into_iter().find(|path| Path::new(path).exists());
        let mut command = Command::new(program.unwrap_or("mosquitto"));
        command.arg("-c").arg(self.folder.path().join("broker.conf")).stdout(Stdio::null()).stderr(Stdio::null());
        self.running = Some(command.spawn().expect("./test installs mosquitto"));
        let end = Instant::now() + Duration::from_secs(60);
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            assert!(Instant::now() < end, "the broker does not listen");
            sleep(Duration::from_millis(50));
        }
    }

    /// Kills it as it stands, once what it acknowledged has reached its file.
    pub(crate) fn kill(&mut self) {
        if let Some(running) = &self.running {
            let saved = Command::new("kill").args(["-USR1", &running.id().to_string()]).status();
            assert!(saved.unwrap().success());
            sleep(Duration::from_millis(500));
        }
        if let Some(mut running) = self.running.take() {
            running.kill().unwrap();
            running.wait().unwrap();
        }
    }

    /// Where it is reached.
    pub(crate) fn address(&self) -> String {
        format!("mqtt://127.0.0.1:{}", self.port)
    }

    /// Publishes messages, one after another, and waits until the broker has them.
    pub(crate) fn publish(&self, topic: &str, payload: &str) {
        let port = self.port.to_string();
        let args = ["-h", "127.0.0.1", "-p", port.as_str(), "-q", "1", "-t", topic, "-m", payload];
        assert!(Command::new("mosquitto_pub").args(args).status().unwrap().success(), "{topic} {payload}");
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        if let Some(mut running) = self.running.take() {
            // OK to ignore: it has ended by itself.
            let _ = running.kill();
            let _ = running.wait();
        }
    }
}
