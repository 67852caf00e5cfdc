//! What the system says of this process, under the names that Prometheus clients use for it. Read from `/proc` when it is asked for; where
//! there is none, nothing is said.

use crate::web::clock;
use prometheus_client::collector::Collector;
use prometheus_client::encoding::{DescriptorEncoder, EncodeMetric};
use prometheus_client::metrics::counter::ConstCounter;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::registry::{Registry, Unit};
use std::fmt::Error;

/// Ticks a second of the times in `/proc/self/stat`: always 100 for programs on Linux (proc(5), `USER_HZ`).
const TICKS: f64 = 100.0;

#[derive(Debug)]
struct Process {
    /// Seconds since 1970.
    started: f64,
}

pub fn register(registry: &mut Registry) {
    let micros = clock::now().micros();
    let (seconds, rest) = (micros / 1_000_000, micros % 1_000_000);
    let exact = |number: i64| f64::from(i32::try_from(number).unwrap_or(i32::MAX));
    registry.register_collector(Box::new(Process { started: exact(seconds) + exact(rest) / 1e6 }));
}

/// A line `name: 123 kB` of `/proc/self/status`, in bytes.
fn bytes(status: &str, name: &str) -> Option<i64> {
    let line = status.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':'))?;
    line.trim().strip_suffix("kB")?.trim().parse::<i64>().ok()?.checked_mul(1_024)
}

/// Ticks in user and kernel mode: the 14th and 15th field, counted behind the name, which may hold anything.
fn cpu_seconds(stat: &str) -> Option<f64> {
    let (_, fields) = stat.rsplit_once(')')?;
    let mut fields = fields.split_whitespace().skip(11).map(|field| field.parse::<u32>());
    let (user, system) = (fields.next()?.ok()?, fields.next()?.ok()?);
    Some((f64::from(user) + f64::from(system)) / TICKS)
}

/// The soft limit of open files.
fn most_files(limits: &str) -> Option<i64> {
    let line = limits.lines().find_map(|line| line.strip_prefix("Max open files"))?;
    line.split_whitespace().next()?.parse().ok()
}

impl Collector for Process {
    fn encode(&self, mut encoder: DescriptorEncoder<'_>) -> Result<(), Error> {
        let read = |name: &str| std::fs::read_to_string(format!("/proc/self/{name}")).unwrap_or_default();
        let status = read("status");
        let mut gauge = |name: &str, text: &str, unit: Option<&Unit>, value: Option<i64>| {
            let Some(value) = value else { return Ok(()) };
            let gauge = ConstGauge::new(value);
            gauge.encode(encoder.encode_descriptor(name, text, unit, prometheus_client::metrics::MetricType::Gauge)?)
        };
        let bytes = |name| bytes(&status, name);
        gauge("process_resident_memory", "Resident memory size", Some(&Unit::Bytes), bytes("VmRSS"))?;
        gauge("process_virtual_memory", "Virtual memory size", Some(&Unit::Bytes), bytes("VmSize"))?;
        let open = std::fs::read_dir("/proc/self/fd").ok().and_then(|files| i64::try_from(files.count()).ok());
        gauge("process_open_fds", "Open file descriptors", None, open)?;
        gauge("process_max_fds", "Most open file descriptors", None, most_files(&read("limits")))?;
        gauge(
            "process_threads",
            "Threads",
            None,
            status.lines().find_map(|l| l.strip_prefix("Threads:")?.trim().parse().ok()),
        )?;
        let started = ConstGauge::new(self.started);
        let kind = prometheus_client::metrics::MetricType::Gauge;
        started.encode(encoder.encode_descriptor(
            "process_start_time",
            "Start, in seconds since 1970",
            Some(&Unit::Seconds),
            kind,
        )?)?;
        if let Some(seconds) = cpu_seconds(&read("stat")) {
            let kind = prometheus_client::metrics::MetricType::Counter;
            let spent = ConstCounter::new(seconds);
            spent.encode(encoder.encode_descriptor(
                "process_cpu",
                "Processor time spent",
                Some(&Unit::Seconds),
                kind,
            )?)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_system_says_is_read() {
        assert_eq!(bytes("VmSize:\t  12 kB\nVmRSS:\t   5008 kB\n", "VmRSS"), Some(5_008 * 1_024));
        // The name of a program may hold brackets and blanks.
        let stat = "7 (a ) b) S 1 7 7 0 -1 4194560 900 0 0 0 150 50 0 0 20 0 4 0 100 1 2";
        assert_eq!(cpu_seconds(stat), Some(2.0));
        assert_eq!(
            most_files("Max open files            1024                 4096                 files\n"),
            Some(1_024)
        );
        assert_eq!((bytes("", "VmRSS"), cpu_seconds("7 (x"), most_files("")), (None, None, None));
    }
}
