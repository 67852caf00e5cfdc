//! Two unrelated readers of codes, zxing-cpp and zbar. A reading is no proof by itself: compare it
//! with the expected text.

use std::io::Write;
use std::process::{Command, Output, Stdio};

/// `Plain` keeps the text as it is encoded; the default mode rewrites GS1 data for human eyes.
const ZXING: &str = "
import io, json, sys
import zxingcpp
from PIL import Image
picture = Image.open(io.BytesIO(sys.stdin.buffer.read())).convert('L')
found = zxingcpp.read_barcodes(picture, text_mode=zxingcpp.TextMode.Plain)
print(json.dumps([code.text for code in found]))
";

/// zbarimg's exit code for a picture without a code.
const NOTHING_FOUND: i32 = 4;

/// The texts that zxing-cpp reads in a PNG.
pub fn zxing(png: &[u8]) -> Vec<String> {
    let python = super::from_tests_run("SAKUDANA_TEST_PYTHON");
    let mut child = Command::new(&python)
        .args(["-c", ZXING])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{python} does not start: {error}"));
    // A reader that fails early closes the pipe; its own message says more than ours.
    let _ = child.stdin.take().expect("stdin is piped").write_all(png);
    let output = child.wait_with_output().expect("the end of zxing-cpp");
    assert!(output.status.success(), "zxing-cpp: {}", said(&output));
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("zxing-cpp: {error}: {}", said(&output)))
}

/// The texts that zbar reads in a PNG, one for each line: right for texts without a line break.
pub fn zbar(png: &[u8]) -> Vec<String> {
    zbar_set(png, &[])
}

/// The same with a reader that tells UPC-A from EAN-13, and then leaves the zero before it away, as many tills' scanners do.
pub fn zbar_telling_upc_a(png: &[u8]) -> Vec<String> {
    zbar_set(png, &["-Supca.enable"])
}

fn zbar_set(png: &[u8], settings: &[&str]) -> Vec<String> {
    let mut file = tempfile::Builder::new().suffix(".png").tempfile().expect("a temporary file");
    file.write_all(png).expect("room for a picture");
    let output = Command::new("zbarimg")
        .args(["--nodbus", "-q", "--raw"])
        .args(settings)
        .arg(file.path())
        .output()
        .unwrap_or_else(|error| panic!("zbarimg does not start (`bash tests/run` installs it): {error}"));
    let found_nothing = output.status.code() == Some(NOTHING_FOUND);
    assert!(output.status.success() || found_nothing, "zbarimg: {}", said(&output));
    String::from_utf8_lossy(&output.stdout).lines().map(str::to_owned).collect()
}

fn said(output: &Output) -> String {
    let out = String::from_utf8_lossy(&output.stdout);
    let err = String::from_utf8_lossy(&output.stderr);
    format!("{}\n{out}{err}", output.status)
}
