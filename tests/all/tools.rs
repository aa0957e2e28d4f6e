//! Programs from outside that some cases need: they are looked for, prepared where that is possible,
//! and asked for by name where not. A case never passes because its tool is missing.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// Where the Python helpers of the tests are.
pub fn helper(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/tools").join(name)
}

/// A Python with aiosmtpd, prometheus_client and jsonschema: the system's, or a virtual environment made for the tests.
pub fn python() -> PathBuf {
    static PYTHON: OnceLock<PathBuf> = OnceLock::new();
    let needs = Needs {
        name: "python",
        imports: "import aiosmtpd.smtp, prometheus_client.openmetrics.parser, jsonschema.validators",
        packages: &["aiosmtpd", "prometheus_client", "jsonschema"],
    };
    PYTHON.get_or_init(|| find_python(&needs)).clone()
}

/// A Python with the libraries that check the statistics, likewise.
pub fn python_of_oracles() -> PathBuf {
    static PYTHON: OnceLock<PathBuf> = OnceLock::new();
    let needs = Needs {
        name: "python-oracles",
        imports: "import changepoint_online, ruptures, statsmodels.api",
        packages: &["changepoint-online", "ruptures", "statsmodels"],
    };
    PYTHON.get_or_init(|| find_python(&needs)).clone()
}

/// What a Python must be able to import, and the packages that give it.
struct Needs {
    name: &'static str,
    imports: &'static str,
    packages: &'static [&'static str],
}

impl Needs {
    fn met_by(&self, python: &Path) -> bool {
        Command::new(python).args(["-c", self.imports]).output().is_ok_and(|o| o.status.success())
    }
}

fn find_python(needs: &Needs) -> PathBuf {
    let venv = Path::new(env!("CARGO_TARGET_TMPDIR")).join(needs.name);
    let made = venv.join("bin/python");
    for candidate in [made.clone(), PathBuf::from("/usr/bin/python3"), PathBuf::from("python3")] {
        if needs.met_by(&candidate) {
            return candidate;
        }
    }
    let install = ["-m", "pip", "install", "-q"].iter().chain(needs.packages);
    let makes = [
        ("python3".into(), vec!["-m".into(), "venv".into(), venv.display().to_string()]),
        (made.clone(), install.map(|a| String::from(*a)).collect()),
    ];
    let mut said = String::new();
    for (program, args) in makes {
        let program: PathBuf = program;
        match Command::new(&program).args(&args).output() {
            Ok(output) => said.push_str(&String::from_utf8_lossy(&output.stderr)),
            Err(e) => said.push_str(&format!("{}: {e}\n", program.display())),
        }
    }
    assert!(
        needs.met_by(&made),
        "these cases need a Python with {} (Debian: python3-venv and a package index): {said}",
        needs.packages.join(", ")
    );
    made
}

/// A program that must be installed.
pub fn program(name: &str, package: &str) -> PathBuf {
    let folders = ["/usr/sbin", "/usr/bin", "/usr/local/bin", "/sbin", "/bin"];
    let path = folders.iter().map(|f| Path::new(f).join(name)).find(|p| p.exists());
    path.unwrap_or_else(|| panic!("this case needs {name} (Debian: apt-get install {package})"))
}

/// Runs to the end; the case fails with what it said if that was not success.
pub fn must(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{command:?}: {said}{}", String::from_utf8_lossy(&output.stderr));
    said
}

/// A certificate authority of our own, and a server's key and certificate under it.
pub struct Authority {
    pub ca: PathBuf,
    pub certificate: PathBuf,
    pub key: PathBuf,
}

/// Makes an authority in `folder` with a certificate for `name` (and 127.0.0.1).
pub fn authority(folder: &Path, name: &str) -> Authority {
    std::fs::create_dir_all(folder).unwrap();
    let openssl = program("openssl", "openssl");
    let at = |file: &str| folder.join(file);
    let new_key = ["req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "30"];
    must(
        Command::new(&openssl)
            .args(new_key)
            .args(["-x509", "-subj", "/CN=cowlwatch test authority", "-addext", "basicConstraints=critical,CA:TRUE"])
            .args(["-addext", "keyUsage=critical,keyCertSign"])
            .arg("-keyout")
            .arg(at("ca.key"))
            .arg("-out")
            .arg(at("ca.pem")),
    );
    must(
        Command::new(&openssl)
            .args(new_key)
            .args(["-x509", "-subj", &format!("/CN={name}")])
            .args(["-addext", &format!("subjectAltName=DNS:{name},IP:127.0.0.1")])
            .args(["-addext", "basicConstraints=critical,CA:FALSE", "-addext", "extendedKeyUsage=serverAuth"])
            .arg("-CA")
            .arg(at("ca.pem"))
            .arg("-CAkey")
            .arg(at("ca.key"))
            .arg("-keyout")
            .arg(at("server.key"))
            .arg("-out")
            .arg(at("server.pem")),
    );
    Authority { ca: at("ca.pem"), certificate: at("server.pem"), key: at("server.key") }
}
