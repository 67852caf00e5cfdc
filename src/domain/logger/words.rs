//! The words that loggers write above their columns, in several languages. Plain words of each language; nothing of any maker. A word
//! that is missing here costs no more than saying `column=`.

/// Above temperatures.
pub const TEMPERATURE: &[&str] = &[
    "temperature",
    "temperatures",
    "temp",
    "tempc",
    "tempf",
    "celsius",
    "fahrenheit",
    "centigrade",
    "degc",
    "degf", // English
    "temperatur",
    "temperaturen",
    "temperaturwert",
    "kühltemperatur",
    "raumtemperatur", // German, Danish, Norwegian, Swedish
    "température",
    "températures", // French
    "temperatura",
    "temperaturas",
    "temperature", // Spanish, Italian, Portuguese, Polish
    "temperatuur", // Dutch
    "lämpötila",   // Finnish
    "teplota",     // Czech
    "hőmérséklet", // Hungarian
    "sıcaklık",    // Turkish
    "температура", // Russian
];

/// Above temperatures in languages that put no blanks between words.
pub const TEMPERATURE_INSIDE: &[&str] = &["温度", "溫度", "品温", "気温", "온도"];

/// Above whatever a logger measures: a temperature where no column says it outright.
pub const VALUE: &[&str] = &[
    "value",
    "reading",
    "measurement",
    "messwert",
    "wert",
    "valeur",
    "mesure",
    "valor",
    "medida",
    "valore",
    "misura",
    "meting",
    "waarde",
    "måleværdi",
    "mätvärde",
    "måleverdi",
    "arvo",
    "hodnota",
    "wartość",
];

/// Above dates.
pub const DATE: &[&str] = &["date", "datum", "fecha", "data", "dato", "päivämäärä", "pvm", "tarih", "дата"];
pub const DATE_INSIDE: &[&str] = &["日付", "日期", "날짜"];

/// Above times of day, and alone also above dates with times.
pub const TIME: &[&str] = &[
    "time",
    "uhrzeit",
    "zeit",
    "messzeit",
    "hora",
    "heure",
    "temps",
    "ora",
    "orario",
    "tijd",
    "tid",
    "klockslag",
    "klokkeslæt",
    "kello",
    "aika",
    "čas",
    "godzina",
    "czas",
    "idő",
    "saat",
    "время",
];
pub const TIME_INSIDE: &[&str] = &["時刻", "時間", "时间", "시간", "시각"];

/// Above dates with times.
pub const MOMENT: &[&str] = &[
    "timestamp",
    "datetime",
    "zeitstempel",
    "zeitpunkt",
    "horodatage",
    "horodate",
    "tijdstip",
    "tidsstempel",
    "tidpunkt",
    "tidspunkt",
    "unix",
    "epoch",
    "unixtime",
    "at",
];
pub const MOMENT_INSIDE: &[&str] = &["日時", "测量时间", "測定日時", "일시"];

/// Above columns that hold the unit of each line.
pub const UNIT: &[&str] =
    &["unit", "units", "einheit", "unité", "unidad", "unità", "unidade", "eenheid", "enhet", "enhed"];

/// What turns a temperature into something else than the temperature of the place at that time.
pub const NOT_THE_TEMPERATURE: &[&str] = &[
    "dew",
    "dewpoint",
    "taupunkt",
    "rosée",
    "rocío",
    "rugiada",
    "dauwpunt",
    "min",
    "max",
    "minimum",
    "maximum",
    "avg",
    "average",
    "mean",
    "mittelwert",
    "moyenne",
    "media",
    "alarm",
    "alarme",
    "alarma",
    "allarme",
    "limit",
    "limite",
    "grenzwert",
    "high",
    "low",
    "upper",
    "lower",
    "setpoint",
    "set",
    "soll",
    "sollwert",
    "consigne",
    "target",
    "mkt",
    "kinetic",
    "humidity",
    "feuchte",
    "humidité",
    "humedad",
    "umidità",
    "vochtigheid",
    "rh",
    "battery",
    "status",
    "delta",
    "difference",
    "raw",
];

/// What turns a time into something else than when it was measured.
pub const NOT_THE_TIME: &[&str] = &[
    "elapsed",
    "duration",
    "dauer",
    "durée",
    "duración",
    "interval",
    "intervall",
    "zone",
    "timezone",
    "upload",
    "uploaded",
    "received",
    "sync",
];
