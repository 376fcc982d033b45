//! What a service manager hears of the daemon.

use std::os::unix::net::UnixDatagram;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::program;

#[test]
fn a_service_manager_hears_that_the_daemon_is_up_lives_and_ends() {
    let folder = program::scratch("service");
    let socket = UnixDatagram::bind(folder.join("notify")).unwrap();
    socket.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let mut daemon = Command::new(program::program())
        .args(["run", "--plain", "--door", "off"])
        .arg(program::root().join("demo-layout"))
        .env("NOTIFY_SOCKET", folder.join("notify"))
        .env("WATCHDOG_USEC", "400000")
        .env_remove("WATCHDOG_PID")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let hear = || {
        let mut words = [0; 200];
        let length = socket.recv(&mut words).unwrap();
        String::from_utf8(words[..length].to_vec()).unwrap().trim().to_owned()
    };
    assert_eq!(hear(), "READY=1");
    for _ in 0..3 {
        assert_eq!(hear(), "WATCHDOG=1");
    }
    Command::new("kill").args(["-TERM", &daemon.id().to_string()]).status().unwrap();
    let mut last = hear();
    while last == "WATCHDOG=1" {
        last = hear();
    }
    assert_eq!(last, "STOPPING=1");
    assert!(daemon.wait().unwrap().success());
}
