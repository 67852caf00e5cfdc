//! How much the database has to do, counted as it happens: for whoever publishes it. Nothing is decided by it.

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use std::time::Instant;

/// Bounds in seconds, those OpenTelemetry advises for HTTP (HTTP metrics, `http.server.request.duration`), with three below for a file.
pub const SECONDS: [f64; 17] =
    [0.0001, 0.0005, 0.001, 0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1.0, 2.5, 5.0, 7.5, 10.0];
const SIZES: [f64; 9] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0];

/// What a duration is of, in the words of OpenTelemetry's database conventions.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Operation {
    db_operation_name: &'static str,
    db_system_name: &'static str,
}

/// Clones count together.
#[derive(Clone, Debug)]
pub struct Load {
    /// Both that follow, under their names.
    pub operations: Family<Operation, Histogram, fn() -> Histogram>,
    /// Seconds of each look, waiting for a connection included.
    pub reads: Histogram,
    /// Seconds of each act, from its call to its commit.
    pub writes: Histogram,
    /// Acts that shared a commit.
    pub group_size: Histogram,
    /// Acts that wait for the commit before theirs.
    pub waiting: Gauge,
}

fn histogram() -> Histogram {
    Histogram::new(SECONDS)
}

impl Load {
    /// Of a database of this system.
    pub fn of(db_system_name: &'static str) -> Load {
        let operations = Family::new_with_constructor(histogram as fn() -> Histogram);
        let of = |db_operation_name| operations.get_or_create_owned(&Operation { db_operation_name, db_system_name });
        Load {
            reads: of("read"),
            writes: of("write"),
            group_size: Histogram::new(SIZES),
            waiting: Gauge::default(),
            operations,
        }
    }
}

/// Observes how long something took, however it ends.
pub struct Timed<'a>(&'a Histogram, Instant);

impl<'a> Timed<'a> {
    pub fn begin(histogram: &'a Histogram) -> Timed<'a> {
        Timed(histogram, Instant::now())
    }
}

impl Drop for Timed<'_> {
    fn drop(&mut self) {
        self.0.observe(self.1.elapsed().as_secs_f64());
    }
}
