//! A browser that prints to files.

use std::path::{Path, PathBuf};
use std::process::Command;

/// A page as printed.
pub(crate) struct Printed {
    folder: tempfile::TempDir,
}

impl Printed {
    /// Prints a page.
    pub(crate) fn of(html: &str) -> Printed {
        let folder = tempfile::tempdir().expect("a folder");
        let page = folder.path().join("page.html");
        std::fs::write(&page, html).expect("the page is written");
        let printed = Printed { folder };
        let done = Command::new("chromium")
            .args([
                "--headless=new",
                "--no-sandbox",
                "--disable-dev-shm-usage",
                "--disable-gpu",
                "--no-pdf-header-footer",
            ])
            .arg(format!("--user-data-dir={}", printed.folder.path().join("profile").display()))
            .arg(format!("--print-to-pdf={}", printed.pdf().display()))
            .arg(format!("file://{}", page.display()))
            .output()
            .expect("chromium starts (./test installs it)");
        assert!(printed.pdf().exists(), "{}", String::from_utf8_lossy(&done.stderr));
        printed.keep();
        printed
    }

    fn pdf(&self) -> PathBuf {
        self.folder.path().join("page.pdf")
    }

    /// Leaves a copy where a person can look at it, under the name of the test.
    fn keep(&self) {
        let name = std::thread::current().name().unwrap_or("page").replace("::", "-");
        let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.pdf"));
        std::fs::copy(self.pdf(), kept).expect("the copy is written");
    }

    /// How many pages it has.
    pub(crate) fn n_pages(&self) -> usize {
        let info = self.told("pdfinfo", &[]);
        let line = info.lines().find_map(|line| line.strip_prefix("Pages:")).expect("a number of pages");
        line.trim().parse().expect("a number")
    }

    /// Width and height of its pages, whole points.
    pub(crate) fn size_pt(&self) -> String {
        let info = self.told("pdfinfo", &[]);
        info.lines().find_map(|line| line.strip_prefix("Page size:")).expect("a size").trim().to_owned()
    }

    /// What stands on a page, from 1, with each run of blanks as one.
    pub(crate) fn page(&self, page: usize) -> String {
        let page = page.to_string();
        let text = self.told("pdftotext", &["-f", &page, "-l", &page]);
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn told(&self, program: &str, options: &[&str]) -> String {
        let mut command = Command::new(program);
        command.args(options).arg(self.pdf());
        if program == "pdftotext" {
            command.arg("-");
        }
        let done = command.output().unwrap_or_else(|error| panic!("{program} does not start: {error} (see ./test)"));
        assert!(done.status.success(), "{program}: {}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).expect("UTF-8")
    }
}
