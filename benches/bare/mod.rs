//! SQLite without anything in between: open, prepare, bind, step, reset. The floor that the sales benchmark is held against. With
//! `benches/labels/libqrencode.rs` the only unsafe code of the repository; no statement of the shop is written here.
#![allow(unsafe_code, reason = "the floor calls the C interface itself, or it would measure somebody's wrapper")]

use libsqlite3_sys as ffi;
use std::ffi::{CStr, CString};
use std::os::unix::ffi::OsStrExt;
use std::path::Path;
use std::ptr;

/// A value as it is bound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Value {
    Null,
    Integer(i64),
    Text(String),
}

/// An open database of one thread.
pub struct Bare {
    handle: *mut ffi::sqlite3,
    statements: Vec<*mut ffi::sqlite3_stmt>,
}

/// A statement prepared by the `Bare` that gave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Prepared(usize);

impl Bare {
    pub fn open(file: &Path) -> Bare {
        let path = CString::new(file.as_os_str().as_bytes()).expect("a path without a zero byte");
        let mut bare = Bare { handle: ptr::null_mut(), statements: Vec::new() };
        // SAFETY: `path` ends with a zero and outlives the call; SQLite writes the handle even when it fails.
        let code = unsafe { ffi::sqlite3_open(path.as_ptr(), &mut bare.handle) };
        bare.expect(code, "open");
        bare
    }

    pub fn prepare(&mut self, sql: &str) -> Prepared {
        let text = CString::new(sql).expect("SQL without a zero byte");
        let mut statement = ptr::null_mut();
        // SAFETY: the handle is open, `text` ends with a zero (-1: read up to it), the tail is not asked for.
        let code = unsafe { ffi::sqlite3_prepare_v2(self.handle, text.as_ptr(), -1, &mut statement, ptr::null_mut()) };
        self.expect(code, sql);
        self.statements.push(statement);
        Prepared(self.statements.len() - 1)
    }

    /// Binds, steps to the end, resets; gives the first column of the first row as a number, 0 when there is no row.
    pub fn run(&self, prepared: Prepared, values: &[Value]) -> i64 {
        let statement = self.statements[prepared.0];
        for (index, value) in (1..).zip(values) {
            // SAFETY: the statement lives until `self` is dropped; text stays in `values` until the reset below.
            let code = unsafe {
                match value {
                    Value::Null => ffi::sqlite3_bind_null(statement, index),
                    Value::Integer(number) => ffi::sqlite3_bind_int64(statement, index, *number),
                    Value::Text(text) => ffi::sqlite3_bind_text(
                        statement,
                        index,
                        text.as_ptr().cast(),
                        i32::try_from(text.len()).expect("a short text"),
                        ffi::SQLITE_STATIC(),
                    ),
                }
            };
            self.expect(code, "bind");
        }
        let mut first = None;
        // SAFETY: as above; a column is read only while its row stands.
        let code = unsafe {
            let mut code = ffi::sqlite3_step(statement);
            while code == ffi::SQLITE_ROW {
                first.get_or_insert_with(|| ffi::sqlite3_column_int64(statement, 0));
                code = ffi::sqlite3_step(statement);
            }
            ffi::sqlite3_reset(statement);
            code
        };
        if code != ffi::SQLITE_DONE {
            self.expect(code, "step");
        }
        first.unwrap_or(0)
    }

    /// Prepares and runs one statement.
    pub fn ask(&mut self, sql: &str) -> i64 {
        let prepared = self.prepare(sql);
        self.run(prepared, &[])
    }

    fn expect(&self, code: i32, doing: &str) {
        if code != ffi::SQLITE_OK {
            // SAFETY: the message belongs to the handle and is copied before the next call.
            let said = unsafe { CStr::from_ptr(ffi::sqlite3_errmsg(self.handle)) };
            panic!("SQLite, {doing}: {}", said.to_string_lossy());
        }
    }
}

impl Drop for Bare {
    fn drop(&mut self) {
        // SAFETY: every statement is finalized once, and the handle closed after the last.
        unsafe {
            for statement in &self.statements {
                ffi::sqlite3_finalize(*statement);
            }
            ffi::sqlite3_close(self.handle);
        }
    }
}
