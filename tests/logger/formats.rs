//! Exports of different make, all invented, that say the same: three readings of one morning.

use sakudana::domain::logger::{Column, DateOrder, Options, Unit};

use crate::{instant, lisbon, read, zone};

/// What every export says: the instant and thousandths of a degree Celsius.
const SAID: [(&str, i64); 3] =
    [("2026-11-25T08:00:00Z", 1_200), ("2026-11-25T08:15:00Z", -500), ("2026-11-25T20:30:00Z", 2_000)];

/// An export, and what has to be said of it because it does not say so itself.
pub struct Export {
    pub name: &'static str,
    pub bytes: Vec<u8>,
    pub options: Options,
}

fn export(name: &'static str, text: &str) -> Export {
    Export { name, bytes: text.as_bytes().to_vec(), options: Options::plain(lisbon()) }
}

fn latin_1(text: &str) -> Vec<u8> {
    text.chars().map(|c| u8::try_from(u32::from(c)).expect("a character of Latin-1")).collect()
}

/// Good exports.
#[rustfmt::skip]
pub fn exports() -> Vec<Export> {
    let mut all = vec![
        export("plain", "time,temperature\n2026-11-25T08:00:00Z,1.2\n2026-11-25T08:15:00Z,-0.5\n2026-11-25T20:30:00Z,2\n"),
        export("offsets", "time,temperature\n2026-11-25T09:00:00+01:00,1.2\n2026-11-25T03:15:00-0500,-0.50\n2026-11-26 05:30:00 +09,2.0"),
        export("local", "timestamp,temp\n2026-11-25 08:00,1.2\n2026-11-25 08:15:00,-0.5\n2026-11-25 20:30:00.000,2.000\n"),
        export("crlf", "timestamp,temp\r\n2026-11-25 08:00,1.2\r\n2026-11-25 08:15:00,-0.5\r\n2026-11-25 20:30:00,2.0\r\n"),
        export("cr", "timestamp,temp\r2026-11-25 08:00,1.2\r2026-11-25 08:15:00,-0.5\r2026-11-25 20:30:00,2.0\r"),
        export("bom", "\u{feff}Timestamp,Temperature\n2026-11-25 08:00,1.2\n2026-11-25 08:15,-0.5\n2026-11-25 20:30,2.0\n"),
        export("german", "Nr.;Datum;Uhrzeit;Temperatur [°C];Feuchte [%]\n1;25.11.2026;08:00:00;1,2;81,0\n2;25.11.2026;08:15:00;-0,5;80,5\n3;25.11.2026;20:30:00;2,0;79,9\n"),
        export("german, short years", "Datum;Zeit;Messwert\n25.11.26;8:00;1,2\n25.11.26;8:15;-0,5\n25.11.26;20:30;2\n"),
        export("french", "Horodatage;Température (°C);Humidité (%)\n25.11.2026 08:00:00;1,2;81\n25.11.2026 08:15:00;-0,5;80\n25.11.2026 20:30:00;2,0;79\n"),
        export("spanish", "Fecha;Hora;Temperatura\n2026/11/25;08:00;1,2\n2026/11/25;08:15;-0,5\n2026/11/25;20:30;2,0\n"),
        export("tabs", "Date/Time\tTemperature (°C)\n2026-11-25 08:00:00\t1,2\n2026-11-25 08:15:00\t-0,5\n2026-11-25 20:30:00\t2,0\n"),
        export("fahrenheit", "Time,Temperature (°F)\n2026-11-25 08:00,34.16\n2026-11-25 08:15,31.1\n2026-11-25 20:30,35.6\n"),
        export("fahrenheit in a name", "recorded_at,temp_f,rh\n2026-11-25 08:00,34.16,80\n2026-11-25 08:15,31.1,80\n2026-11-25 20:30,35.6,80\n"),
        export("fahrenheit in the cells", "Time,Temp\n2026-11-25 08:00,34.16 °F\n2026-11-25 08:15,31.1F\n2026-11-25 20:30,2 °C\n"),
        export("a column of units", "Time,Value,Unit\n2026-11-25 08:00,1.2,C\n2026-11-25 08:15,31.1,F\n2026-11-25 20:30,35.6,°F\n"),
        export("both units", "Time,Temperature (°F),Temperature (°C)\n2026-11-25 08:00,34.2,1.2\n2026-11-25 08:15,31.1,-0.5\n2026-11-25 20:30,35.6,2.0\n"),
        export("a preamble", "Logger export\nSerial no.,88231\nStart time,2026-11-25 08:00:00\nAlarm high,5.0\n\nIndex,Time,Temp\n1,2026-11-25 08:00,1.2\n2,2026-11-25 08:15,-0.5\n3,2026-11-25 20:30,2.0\n"),
        export("comments", "# made by hand\n# zone: local\ntime;celsius\n2026-11-25 08:00;1.2\n# the door stood open\n2026-11-25 08:15;-0.5\n2026-11-25 20:30;2\n"),
        export("no header", "2026-11-25 08:00,1.2\n2026-11-25 08:15,-0.5\n2026-11-25 20:30,2.0\n"),
        export("no header, an index", "1;2026-11-25;08:00;1,2;81\n2;2026-11-25;08:15;-0,5;80\n3;2026-11-25;20:30;2,0;79\n"),
        export("no header, time before date", "08:00\t25.11.2026\t1,2\n08:15\t25.11.2026\t-0,5\n20:30\t25.11.2026\t2,0\n"),
        export("unix seconds", "epoch,temp\n1795593600,1.2\n1795594500,-0.5\n1795638600,2\n"),
        export("unix milliseconds", "1795593600000,1.2\n1795594500000,-0.5\n1795638600000,2.0\n"),
        export("quotes", "\"Date\",\"Time\",\"Temp, °C\"\n\"2026-11-25\",\"08:00:00\",\"1,2\"\n\"2026-11-25\",\"08:15:00\",\"-0,5\"\n\"2026-11-25\",\"20:30:00\",\"2,0\"\n"),
        export("utc in the header", "#,\"Date Time, GMT+01:00\",\"Temp, °C\"\n1,2026-11-25 09:00:00,1.2\n2,2026-11-25 09:15:00,-0.5\n3,2026-11-25 21:30:00,2\n"),
        export("a line of units", "Time;Temp;Humidity\n;°F;%\n2026-11-25 08:00;34.16;80\n2026-11-25 08:15;31.1;80\n2026-11-25 20:30;35.6;80\n"),
        export("newest first", "Time;Temp\n2026-11-25 20:30;2\n2026-11-25 08:15;-0,5\n2026-11-25 08:00;1,2\n"),
        export("japanese", "日付,時刻,温度(℃),湿度\n2026/11/25,8:00,1.2,81\n2026/11/25,8:15,-0.5,80\n2026/11/25,20:30,2.0,79\n"),
        export("names of months", "Date Time;Reading\n25 Nov 2026 08:00;1.2\n25-Nov-2026 08:15;-0.5\n25-NOV-26 08:30 PM;2\n"),
        export("two files in one", "time,temp\n2026-11-25 08:00,1.2\nTemperature (°F);Time\n31.1;2026-11-25 08:15\n35.6;2026-11-25 20:30\n"),
        export("empty cells behind", "time;temp;;\n2026-11-25 08:00;1,2;;\n2026-11-25 08:15;-0,5;;\n2026-11-25 20:30;2;;\n;;;\n"),
        export("a date with a midnight", "Date,Time,Temp\n2026-11-25 00:00:00,08:00,1.2\n2026-11-25 00:00:00,08:15,-0.5\n2026-11-25 00:00:00,20:30,2.0\n"),
        export("instrument numbers", "time,temp\n2026-11-25 08:00,1.2E+00\n2026-11-25 08:15,-5.0e-01\n2026-11-25 20:30,+2.0\n"),
    ];
    let slashed = "Date,Time,Temp\n11/25/2026,8:00 AM,1.2\n11/25/2026,8:15 AM,-0.5\n11/25/2026,8:30 PM,2.0\n";
    all.push(Export { options: Options { date_order: Some(DateOrder::MonthFirst), ..Options::plain(lisbon()) }, ..export("month first", slashed) });
    let slashed = "25/11/2026 08:00,1.2\n25/11/2026 08:15,-0.5\n25/11/2026 20:30,2.0\n";
    all.push(Export { options: Options { date_order: Some(DateOrder::DayFirst), ..Options::plain(lisbon()) }, ..export("day first", slashed) });
    let tokyo = "time,temp\n2026-11-25 17:00,1.2\n2026-11-25 17:15,-0.5\n2026-11-26 05:30,2\n";
    all.push(Export { options: Options::plain(zone("Asia/Tokyo")), ..export("another zone", tokyo) });
    let said = "2026-11-25 08:00,34.16\n2026-11-25 08:15,31.1\n2026-11-25 20:30,35.6\n";
    all.push(Export { options: Options { unit: Unit::Fahrenheit, ..Options::plain(lisbon()) }, ..export("the unit is said", said) });
    let probes = "time,temp 1,temp 2\n2026-11-25 08:00,9,1.2\n2026-11-25 08:15,9,-0.5\n2026-11-25 20:30,9,2\n";
    all.push(Export { options: Options { column: Some(Column::Name("Temp 2".into())), ..Options::plain(lisbon()) }, ..export("the column is said", probes) });
    let whole = "2026-11-25 08:00,9,1.2\n2026-11-25 08:15,9,-0.5\n2026-11-25 20:30,9,2\n";
    all.push(Export { options: Options { column: Some(Column::Number(3)), ..Options::plain(lisbon()) }, ..export("the number of the column is said", whole) });
    let text = "Time;Temperature (°C);Probe\n2026-11-25 08:00;1,2;K\u{fc}hlung\n2026-11-25 08:15;-0,5;K\u{fc}hlung\n2026-11-25 20:30;2,0;K\u{fc}hlung\n";
    all.push(Export { bytes: latin_1(text), ..export("latin 1", "") });
    all
}

#[test]
fn every_export_says_the_same() {
    let expected = SAID.map(|(at, milli)| (instant(at), milli));
    let all = exports();
    assert!(all.len() >= 25, "{} exports", all.len());
    for export in all {
        let (lines, end) = read(&export.options, &export.bytes);
        assert_eq!(end, Ok(()), "{}", export.name);
        let mut found: Vec<_> = lines
            .iter()
            .map(|line| {
                line.found.as_ref().unwrap_or_else(|fault| panic!("{}: line {}: {fault:?}", export.name, line.number))
            })
            .map(|reading| (reading.at, reading.temperature.get()))
            .collect();
        found.sort();
        assert_eq!(found, expected, "{}", export.name);
    }
}
