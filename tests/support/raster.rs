//! The independent reader of PWG raster files: libcups, which is what the common print spooler itself reads them with. It is lenient about
//! lines that run over; the strict check is ours, in `src/labels/pwg.rs`.

use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;

/// libcups called through its C interface. The header is `cups_page_header2_t` of `cups/raster.h`: 1796 bytes, native order once read.
const READER: &str = r#"
import base64, ctypes, json, os, sys, tempfile
U, S = ctypes.c_uint, ctypes.c_char * 64
class Header(ctypes.Structure):
    _fields_ = [("media_class", S), ("media_color", S), ("media_type", S), ("output_type", S), ("advance", U * 2), ("collate", U),
        ("cut", U), ("duplex", U), ("resolution", U * 2), ("bounds", U * 4), ("insert", U), ("jog", U), ("edge", U), ("margins", U * 2),
        ("feed", U), ("position", U), ("weight", U), ("mirror", U), ("negative", U), ("copies", U), ("orientation", U), ("face_up", U),
        ("page_size", U * 2), ("separations", U), ("tray", U), ("tumble", U), ("width", U), ("height", U), ("kind", U),
        ("bits_per_color", U), ("bits_per_pixel", U), ("bytes_per_line", U), ("color_order", U), ("color_space", U), ("compression", U),
        ("row_count", U), ("row_feed", U), ("row_step", U), ("colors", U), ("scaling", ctypes.c_float), ("size", ctypes.c_float * 2),
        ("box", ctypes.c_float * 4), ("integers", U * 16), ("reals", ctypes.c_float * 16), ("strings", S * 16), ("marker", S),
        ("intent", S), ("size_name", S)]
assert ctypes.sizeof(Header) == 1796
cups = ctypes.CDLL("libcups.so.2")
if not hasattr(cups, "cupsRasterOpen"):
    cups = ctypes.CDLL("libcupsimage.so.2")
cups.cupsRasterOpen.restype = ctypes.c_void_p
cups.cupsRasterOpen.argtypes = [ctypes.c_int, ctypes.c_int]
cups.cupsRasterReadHeader2.argtypes = [ctypes.c_void_p, ctypes.POINTER(Header)]
cups.cupsRasterReadPixels.argtypes = [ctypes.c_void_p, ctypes.c_char_p, U]
with tempfile.TemporaryFile() as file:
    file.write(sys.stdin.buffer.read())
    file.seek(0)
    raster, pages = cups.cupsRasterOpen(file.fileno(), 0), []
    header = Header()
    while raster and cups.cupsRasterReadHeader2(raster, ctypes.byref(header)):
        dots, short = b"", False
        for _ in range(header.height):
            line = ctypes.create_string_buffer(header.bytes_per_line)
            short = short or cups.cupsRasterReadPixels(raster, line, header.bytes_per_line) != header.bytes_per_line
            dots += line.raw
        pages.append({"class": header.media_class.decode(), "type": header.media_type.decode(), "dpi": list(header.resolution),
            "width": header.width, "height": header.height, "bits": header.bits_per_pixel, "stride": header.bytes_per_line,
            "space": header.color_space, "copies": header.copies, "points": list(header.page_size), "pages": header.integers[0],
            "box": list(header.integers[3:7]), "size_name": header.size_name.decode(), "short": short,
            "dots": base64.b64encode(dots).decode()})
print(json.dumps(pages))
"#;

/// One page as libcups reads it.
#[derive(Debug, Clone)]
pub struct Page {
    /// Every field of the header that is looked at, by name.
    pub header: Value,
    pub width: u32,
    pub height: u32,
    stride: usize,
    dots: Vec<u8>,
}

impl Page {
    pub fn is_black(&self, x: u32, y: u32) -> bool {
        let byte = self.dots[y as usize * self.stride + x as usize / 8];
        byte & (0x80 >> (x % 8)) != 0
    }

    /// How many dots differ from those of a picture of the same size.
    pub fn differing(&self, picture: &image::GrayImage) -> usize {
        assert_eq!((self.width, self.height), picture.dimensions());
        picture.enumerate_pixels().filter(|(x, y, dot)| self.is_black(*x, *y) != (dot.0[0] < 128)).count()
    }
}

/// The pages of a raster file; a line that is cut short counts as no page.
pub fn pages(file: &[u8]) -> Vec<Page> {
    use base64::Engine;
    let python = super::from_tests_run("SAKUDANA_TEST_PYTHON");
    let mut child = Command::new(&python)
        .args(["-c", READER])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{python} does not start: {error}"));
    // A reader that fails early closes the pipe; its own message says more than ours.
    let _ = child.stdin.take().expect("stdin is piped").write_all(file);
    let output = child.wait_with_output().expect("the end of libcups");
    assert!(output.status.success(), "libcups: {}", String::from_utf8_lossy(&output.stderr));
    let read: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    let number = |page: &Value, name: &str| u32::try_from(page[name].as_u64().unwrap()).unwrap();
    let whole = read.into_iter().filter(|page| page["short"] == false);
    whole
        .map(|mut page| Page {
            width: number(&page, "width"),
            height: number(&page, "height"),
            stride: number(&page, "stride") as usize,
            dots: base64::prelude::BASE64_STANDARD.decode(page["dots"].take().as_str().unwrap()).unwrap(),
            header: page,
        })
        .collect()
}
