//! The control door through an encrypted line, as Python's own TLS (OpenSSL) speaks it, with a certificate that `openssl` makes.

use std::path::Path;
use std::process::Command;

use super::killed::Spoken;
use crate::program;

/// A key, and a certificate for this machine that it signs itself.
fn certificate(folder: &Path, name: &str) -> (String, String) {
    let file = |end: &str| folder.join(format!("{name}.{end}")).to_str().unwrap().to_owned();
    let (certificate, key) = (file("pem"), file("key"));
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"])
        .args([
            "-subj",
            "/CN=low-staithe",
            "-addext",
            "subjectAltName=IP:127.0.0.1",
            "-out",
            &certificate,
            "-keyout",
            &key,
        ])
        .output()
        .unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    (certificate, key)
}

/// What somebody gets who trusts that certificate, or who was not given one and speaks plainly.
fn fetched(address: &str, trusts: Option<&str>) -> Result<String, String> {
    let program = "import ssl, sys, urllib.request as web\n\
                   context = ssl.create_default_context(cafile=sys.argv[2]) if len(sys.argv) > 2 else None\n\
                   print(web.urlopen(sys.argv[1], context=context, timeout=20).read().decode())";
    let ran = Command::new("python3").args(["-c", program, address]).args(trusts).output().unwrap();
    let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    if ran.status.success() { Ok(said(&ran.stdout)) } else { Err(said(&ran.stderr)) }
}

#[test]
fn the_control_door_proves_who_it_is_and_encrypts_what_it_says() {
    let folder = program::scratch("encrypted");
    let (certificate, key) = self::certificate(&folder, "ours");
    let (other, _) = self::certificate(&folder, "other");
    let demo = program::root().join("demo-layout");
    let with = ["--pair", "--certificate", &certificate, "--key", &key];
    let mut daemon =
        Spoken::start_in(&demo, &[&["run", "--plain", "--for", "120s", "--door", "127.0.0.1:0"], &with[..]].concat());
    let door = daemon.says("the control door is at http://");
    let picture = fetched(&format!("https://{door}/v1/picture"), Some(&certificate)).unwrap();
    assert!(picture.contains("Low Staithe"), "{picture}");
    let refused = fetched(&format!("https://{door}/v1/picture"), Some(&other)).unwrap_err();
    assert!(refused.contains("CERTIFICATE_VERIFY_FAILED"), "{refused}");
    // Programs on this machine need no certificate.
    assert!(fetched(&format!("http://{door}/v1/picture"), None).unwrap().contains("Low Staithe"));
    daemon.kill();
    let refused = program::lineclear(
        &[
            "run",
            demo.to_str().unwrap(),
            "--plain",
            "--door",
            "127.0.0.1:0",
            "--pair",
            "--certificate",
            &key,
            "--key",
            &key,
        ],
        b"",
    );
    assert_eq!(refused.status, Some(2), "{}", refused.complaints);
    assert!(refused.complaints.contains("ours.key`: there is no certificate in it"), "{}", refused.complaints);
}
