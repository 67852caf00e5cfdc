//! libqrencode, the C library everybody knows, loaded when the benchmark runs: the symbol is held against it. Nothing of it is built or
//! linked; Debian calls the package libqrencode4.
#![allow(unsafe_code, reason = "a C library is measured, and has only a C interface")]

use libloading::{Library, Symbol};
use qrcode::optimize::Segment;
use qrcode::types::Mode;
use std::ffi::{CString, c_char, c_int, c_uchar, c_void};

/// `QR_ECLEVEL_M` of qrencode.h.
const LEVEL_M: c_int = 1;
/// `QR_MODE_8`.
const MODE_BYTE: c_int = 2;

/// `QRcode` of qrencode.h.
#[repr(C)]
struct Code {
    version: c_int,
    width: c_int,
    data: *mut c_uchar,
}

type NewInput = unsafe extern "C" fn(c_int, c_int) -> *mut c_void;
type Append = unsafe extern "C" fn(*mut c_void, c_int, c_int, *const c_uchar) -> c_int;
type EncodeInput = unsafe extern "C" fn(*mut c_void) -> *mut Code;
type FreeInput = unsafe extern "C" fn(*mut c_void);
type EncodeBytes = unsafe extern "C" fn(*const c_char, c_int, c_int) -> *mut Code;
type FreeCode = unsafe extern "C" fn(*mut Code);

pub struct Libqrencode(Library);

/// Its symbol, copied.
pub struct Made {
    pub version: i32,
    pub width: i32,
    /// Row by row, true is dark.
    pub dark: Vec<bool>,
}

/// The functions looked up once, for looking up is no part of a symbol.
pub struct Functions<'a> {
    new_input: Symbol<'a, NewInput>,
    append: Symbol<'a, Append>,
    encode_input: Symbol<'a, EncodeInput>,
    free_input: Symbol<'a, FreeInput>,
    encode_bytes: Symbol<'a, EncodeBytes>,
    free_code: Symbol<'a, FreeCode>,
}

impl Libqrencode {
    pub fn load() -> Libqrencode {
        // SAFETY: the library's own start-up code does nothing but what its loader does anywhere.
        Libqrencode(unsafe { Library::new("libqrencode.so.4") }.expect("libqrencode.so.4; Debian: libqrencode4"))
    }

    pub fn functions(&self) -> Functions<'_> {
        // SAFETY: names and types are those of qrencode.h of version 4.
        unsafe {
            Functions {
                new_input: self.0.get(b"QRinput_new2").expect("QRinput_new2"),
                append: self.0.get(b"QRinput_append").expect("QRinput_append"),
                encode_input: self.0.get(b"QRcode_encodeInput").expect("QRcode_encodeInput"),
                free_input: self.0.get(b"QRinput_free").expect("QRinput_free"),
                encode_bytes: self.0.get(b"QRcode_encodeString8bit").expect("QRcode_encodeString8bit"),
                free_code: self.0.get(b"QRcode_free").expect("QRcode_free"),
            }
        }
    }
}

impl Functions<'_> {
    /// The smallest symbol of these segments at level M, given to `see` before it is freed.
    fn encoded<T>(&self, text: &str, segments: &[Segment], see: impl FnOnce(&Code) -> T) -> T {
        // SAFETY: every pointer comes from the library and is freed once; the text outlives the call that copies it.
        unsafe {
            let input = (self.new_input)(0, LEVEL_M);
            for segment in segments {
                let mode = match segment.mode {
                    Mode::Numeric => 0,
                    Mode::Alphanumeric => 1,
                    Mode::Byte => MODE_BYTE,
                    Mode::Kanji => 3,
                };
                let part = &text.as_bytes()[segment.begin..segment.end];
                let code = (self.append)(input, mode, part.len() as c_int, part.as_ptr());
                assert_eq!(code, 0, "QRinput_append");
            }
            let code = (self.encode_input)(input);
            let seen = see(code.as_ref().expect("QRcode_encodeInput"));
            (self.free_code)(code);
            (self.free_input)(input);
            seen
        }
    }

    /// Makes the symbol and throws it away: its size alone comes back.
    pub fn width(&self, text: &str, segments: &[Segment]) -> i32 {
        self.encoded(text, segments, |code| code.width)
    }

    pub fn made(&self, text: &str, segments: &[Segment]) -> Made {
        self.encoded(text, segments, |code| {
            let modules = (code.width * code.width) as usize;
            // SAFETY: the library promises a byte for each module; the lowest bit is the colour.
            let data = unsafe { std::slice::from_raw_parts(code.data, modules) };
            let dark = data.iter().map(|module| module & 1 == 1).collect();
            Made { version: code.version, width: code.width, dark }
        })
    }

    /// All in byte mode, as most callers ask for it.
    pub fn width_of_bytes(&self, text: &str) -> i32 {
        let text = CString::new(text).expect("a text without a zero byte");
        // SAFETY: as above.
        unsafe {
            let code = (self.encode_bytes)(text.as_ptr(), 0, LEVEL_M);
            let width = code.as_ref().expect("QRcode_encodeString8bit").width;
            (self.free_code)(code);
            width
        }
    }
}
