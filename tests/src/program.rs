//! The program under test, built like the tests themselves.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

/// What a run of the program left behind.
#[derive(Debug)]
pub(crate) struct Ran {
    /// The exit status; nothing where a signal ended it.
    pub(crate) status: Option<i32>,
    /// Standard output.
    pub(crate) output: String,
    /// Standard error.
    pub(crate) complaints: String,
}

/// The root of the workspace.
pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap()
}

/// A folder for what tests write, apart for each name, emptied.
pub(crate) fn scratch(name: &str) -> PathBuf {
    let folder = profile_folder().join("scratch").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Where the program is: `LINECLEAR_PROGRAM`, or it is built with the profile of the tests.
pub(crate) fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        if let Some(program) = std::env::var_os("LINECLEAR_PROGRAM") {
            return PathBuf::from(program);
        }
        let profile = match profile_folder().file_name().unwrap().to_str().unwrap() {
            "debug" => "dev",
            name => name,
        };
        let built = Command::new(env!("CARGO"))
            .args(["build", "--quiet", "--package", "lineclear", "--profile", profile, "--target-dir"])
            .arg(profile_folder().parent().unwrap())
            .current_dir(root())
            .status()
            .unwrap();
        assert!(built.success(), "the program does not build");
        profile_folder().join(format!("lineclear{}", std::env::consts::EXE_SUFFIX))
    })
}

/// The folder `target/PROFILE`: the test binary lies in its `deps`.
fn profile_folder() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| std::env::current_exe().unwrap().parent().unwrap().parent().unwrap().to_owned())
}

/// The Python into which `scripts/test` installs what others wrote, if `library` is there; nothing where it is not and none
/// is needed. `module` is what the library is used by.
pub(crate) fn python(library: &str, module: &str) -> Option<String> {
    let python = std::env::var("LINECLEAR_PYTHON").ok();
    let has_it = python.as_ref().is_some_and(|python| {
        let import = Command::new(python).args(["-c", &format!("import {module}")]).stderr(Stdio::null()).status();
        import.is_ok_and(|status| status.success())
    });
    if !has_it {
        skip(&format!("`LINECLEAR_PYTHON` does not name a Python with `{library}`: run `scripts/test`"));
    }
    python.filter(|_| has_it)
}

/// Says that a test was skipped. Continuous integration (`CI=true`) must not pass without it.
pub(crate) fn skip(why: &str) {
    assert!(std::env::var("CI").as_deref() != Ok("true"), "{why}");
    println!("skipped: {why}");
}

/// Runs `lineclear` to its end with `input` on standard input.
pub(crate) fn lineclear(arguments: &[&str], input: &[u8]) -> Ran {
    finish(start(Command::new(program()).args(arguments)), |mut pipe| {
        // Where the program stops early the rest of the input is nobody's business.
        let _ = pipe.write_all(input);
    })
}

/// Starts a program with all its streams piped.
pub(crate) fn start(command: &mut Command) -> Child {
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

/// Feeds a program and collects what it says.
pub(crate) fn finish(mut child: Child, feed: impl FnOnce(std::process::ChildStdin) + Send) -> Ran {
    let (stdin, mut stdout, mut stderr) =
        (child.stdin.take().unwrap(), child.stdout.take().unwrap(), child.stderr.take().unwrap());
    let (mut output, mut complaints) = (Vec::new(), Vec::new());
    std::thread::scope(|scope| {
        scope.spawn(|| feed(stdin));
        scope.spawn(|| stderr.read_to_end(&mut complaints).unwrap());
        stdout.read_to_end(&mut output).unwrap();
    });
    let status = child.wait().unwrap().code();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    Ran { status, output: text(output), complaints: text(complaints) }
}
