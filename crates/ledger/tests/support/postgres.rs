//! A throw-away PostgreSQL server in a temporary folder, on a socket there and nowhere else.

#![allow(dead_code)] // Each test program uses its own part.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex, Weak};
use std::time::Duration;

use sqlx::{AnyConnection, Connection, Executor};

/// The running server, while any test needs it.
static RUNNING: Mutex<Weak<Server>> = Mutex::new(Weak::new());

/// A server that stops, and whose files go, when it is dropped.
pub(crate) struct Server {
    folder: tempfile::TempDir,
    pg_ctl: PathBuf,
    databases: AtomicU32,
}

impl Server {
    /// The server that the tests of this process share; started for the first that asks, stopped after the last.
    pub(crate) fn shared() -> Arc<Server> {
        let mut running = RUNNING.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
        running.upgrade().unwrap_or_else(|| {
            let server = Arc::new(Server::start());
            *running = Arc::downgrade(&server);
            server
        })
    }

    /// A server of a test's own.
    pub(crate) fn start() -> Server {
        // Short, because a socket's path may not be longer than 107 bytes.
        let folder = tempfile::Builder::new().prefix("pg").tempdir().unwrap();
        if is_root() {
            run(Command::new("chown").arg("nobody").arg(folder.path()));
        }
        let data = folder.path().join("data");
        run(as_nobody(&binary("initdb")).arg("-D").arg(&data).args([
            "-U",
            "app",
            "--auth=trust",
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
        ]));
        let server = Server { pg_ctl: binary("pg_ctl"), folder, databases: AtomicU32::new(0) };
        assert!(server.begin(), "the server starts");
        server
    }

    /// Starts the server's processes; whether it could.
    fn begin(&self) -> bool {
        let options = format!(
            "-c listen_addresses='' -c unix_socket_directories='{}' -c fsync=off -c full_page_writes=off -c max_connections=200",
            self.folder.path().display()
        );
        let mut start = as_nobody(&self.pg_ctl);
        start.arg("-D").arg(self.data()).arg("-l").arg(self.folder.path().join("log"));
        start.args(["-w", "-o", &options, "start"]).stdout(Stdio::null()).stderr(Stdio::null());
        start.status().is_ok_and(|status| status.success())
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// The number of the server's first process.
    fn process(&self) -> String {
        let file = std::fs::read_to_string(self.data().join("postmaster.pid")).unwrap();
        file.lines().next().unwrap().to_owned()
    }

    /// Sends a signal to all of the server's processes: after STOP it answers nothing, until CONT.
    pub(crate) fn signal(&self, name: &str) {
        let first = self.process();
        run(Command::new("kill").arg(format!("-{name}")).arg(&first));
        run(Command::new("pkill").arg(format!("-{name}")).args(["-P", &first]));
    }

    /// Kills the server's processes at once (SIGKILL), and starts it again when they are gone.
    pub(crate) fn crash(&self) {
        run(Command::new("kill").args(["-9", &self.process()]));
        // Its other processes end by themselves when they notice, and none may be left.
        for _ in 0..100 {
            if self.begin() {
                return;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("the server does not start again: {}", std::fs::read_to_string(self.folder.path().join("log")).unwrap());
    }

    /// The address of a database that nobody has used.
    pub(crate) async fn new_database(&self) -> String {
        sqlx::any::install_default_drivers();
        let name = format!("test{}", self.databases.fetch_add(1, Ordering::Relaxed));
        let mut connection = AnyConnection::connect(&self.address("postgres")).await.unwrap();
        connection.execute(sqlx::AssertSqlSafe(format!("create database {name}"))).await.unwrap();
        self.address(&name)
    }

    fn address(&self, database: &str) -> String {
        format!("postgres://app@localhost/{database}?host={}", self.folder.path().display())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        run(as_nobody(&self.pg_ctl).arg("-D").arg(self.data()).args(["-m", "immediate", "stop"]));
    }
}

/// The server's program of that name, from the search path or where Debian puts it.
fn binary(name: &str) -> PathBuf {
    let on_path =
        std::env::var_os("PATH").into_iter().flat_map(|path| std::env::split_paths(&path).collect::<Vec<_>>());
    let versions = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut packaged: Vec<PathBuf> = versions.map(|version| version.path().join("bin")).collect();
    packaged.sort();
    packaged
        .into_iter()
        .rev()
        .chain(on_path)
        .map(|folder| folder.join(name))
        .find(|file| file.is_file())
        .unwrap_or_else(|| {
            panic!("'{name}' is neither in the search path nor below /usr/lib/postgresql; install PostgreSQL")
        })
}

/// A command that the server's programs accept: they refuse to run as root.
fn as_nobody(program: &Path) -> Command {
    if !is_root() {
        return Command::new(program);
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid=nobody", "--regid=nogroup", "--clear-groups"]).arg(program).current_dir("/");
    command
}

fn is_root() -> bool {
    let output = Command::new("id").arg("-u").output().unwrap();
    output.stdout.trim_ascii() == b"0"
}

/// Runs a command to its end; panics with what it said if it fails.
///
/// Its output goes to a file, not a pipe: a server inherits it and would hold a pipe open.
fn run(command: &mut Command) {
    let mut said = tempfile::NamedTempFile::new().unwrap();
    command.stdout(said.as_file().try_clone().unwrap()).stderr(said.as_file().try_clone().unwrap());
    let status = command.status().unwrap_or_else(|error| panic!("{:?}: {error}", command.get_program()));
    if !status.success() {
        let mut text = String::new();
        use std::io::{Read, Seek};
        said.as_file_mut().rewind().unwrap();
        said.as_file_mut().read_to_string(&mut text).unwrap();
        let args: Vec<&OsStr> = command.get_args().collect();
        panic!("{:?} {args:?} failed: {text}", command.get_program());
    }
}
