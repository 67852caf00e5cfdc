//! The finished matrix is the one that segno makes of the same segments at the same version, level and mask, and two unrelated readers read
//! the text back.

use crate::matrix::{Dice, Matrix};
use crate::support;
use crate::support::decoders::{zbar, zxing};
use qrcode::Version;
use qrcode::optimize::Parser;
use sakudana::labels;
use sakudana::labels::bitmap::Bitmap;
use sakudana::labels::stock::Dpi;
use sakudana::labels::symbol::{MAX_CHARACTERS, Symbol};
use std::collections::BTreeSet;
use std::io::Write;
use std::process::{Command, Stdio};

/// segno 1.6.6 adds eight more zeros to a stream that already ends at a codeword; ISO/IEC 18004:2015, 7.4.10, which it quotes there, fills up
/// only one that does not. It also joins neighbours of one mode, which the greedy segments of the `qrcode` crate may have. All of it reads the
/// same; the matrices are compared with the first put right and the second left out.
const SEGNO: &str = "
import json, sys
import segno
from segno import consts, encoder
encoder.write_padding_bits = lambda buff, version, length: buff.extend([0] * (-length % 8))
def add(self, segment):
    self.segments.append(segment)
    self.bit_length += len(segment.bits)
    self.modes.append(segment.mode)
encoder.Segments.add_segment = add
matrices = []
for wanted in json.load(sys.stdin):
    content = [(text, consts.MODE_MAPPING[mode], 'iso-8859-1') for text, mode in wanted['segments']]
    code = segno.make_qr(content, error='m', version=wanted['version'], mask=wanted['mask'], boost_error=False, eci=False)
    matrices.append('\\n'.join(''.join('#' if dark else '.' for dark in row) for row in code.matrix))
json.dump(matrices, sys.stdout)
";

fn segno(wanted: &[serde_json::Value]) -> Vec<Matrix> {
    let python = support::from_tests_run("SAKUDANA_TEST_PYTHON");
    let mut child =
        Command::new(python).args(["-c", SEGNO]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(&serde_json::to_vec(wanted).unwrap()).unwrap();
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "segno: {}", output.status);
    let matrices: Vec<String> = serde_json::from_slice(&output.stdout).unwrap();
    matrices.iter().map(|text| Matrix::parse(text)).collect()
}

/// The segments the symbol is made of. Lengths take as many bits in all versions up to 9, and in 10 and 11.
fn segments(text: &str, version: usize) -> Vec<(String, String)> {
    let class = if version <= 9 { 9 } else { 26 };
    let segments = Parser::new(text.as_bytes()).optimize(Version::Normal(class));
    segments.map(|part| (text[part.begin..part.end].to_owned(), format!("{:?}", part.mode).to_lowercase())).collect()
}

fn payloads() -> Vec<String> {
    let mut dice = Dice(18_004);
    let mut payloads: Vec<String> = (0..240).map(|_| dice.text(MAX_CHARACTERS as u64)).collect();
    payloads.push(
        "https://shop.example/01/99520123456781/10/2611-YFT-03/21/7K3M9QX2?17=261126&3103=000268&3922=2131".to_owned(),
    );
    payloads.push("01234567".to_owned());
    payloads
}

#[test]
fn the_finished_matrix_is_the_one_segno_makes() {
    let ours: Vec<(String, Symbol)> =
        payloads().into_iter().map(|text| (text.clone(), Symbol::encode(&text).unwrap())).collect();
    let wanted: Vec<serde_json::Value> = ours
        .iter()
        .map(|(text, symbol)| {
            let version = Matrix::of(symbol).version();
            serde_json::json!({"segments": segments(text, version), "version": version, "mask": symbol.mask()})
        })
        .collect();
    let theirs = segno(&wanted);
    assert_eq!(theirs.len(), ours.len());
    for ((text, symbol), matrix) in ours.iter().zip(&theirs) {
        assert_eq!(&Matrix::of(symbol), matrix, "{text}");
    }
    let masks: BTreeSet<u8> = ours.iter().map(|(_, symbol)| symbol.mask()).collect();
    let versions: BTreeSet<usize> = theirs.iter().map(Matrix::version).collect();
    assert_eq!(masks.len(), 8);
    assert!((1..=10).all(|version| versions.contains(&version)), "{versions:?}");
}

#[test]
fn two_unrelated_readers_give_the_text_back() {
    let mut dice = Dice(4);
    for dots in [4, 5, 7] {
        let text = dice.text(MAX_CHARACTERS as u64);
        let symbol = Symbol::encode(&text).unwrap();
        let mut picture = Bitmap::new(symbol.side(dots), symbol.side(dots));
        symbol.paint(&mut picture, 0, 0, dots);
        let png = labels::png(&picture, Dpi::D203);
        assert_eq!(zxing(&png), [text.as_str()]);
        assert_eq!(zbar(&png), [text.as_str()]);
    }
}
