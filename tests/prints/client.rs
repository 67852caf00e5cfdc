//! What the client makes of every way in which printing can go: the fault matrix, against the real printer where it can be made to fail, against
//! stubs elsewhere.

use std::net::TcpListener;
use std::thread;
use std::time::{Duration, Instant};

use ipp::model::DelimiterTag;
use ipp::value::IppValue;
use sakudana::labels::bitmap::{Bitmap, Ink, Rect};
use sakudana::labels::pwg::{Sheet, encode};
use sakudana::outbound::ipp::{Address, Job, JobCondition, Media, NoAnswer, Printer, Sent};

use crate::stub::{PRINT_JOB, Request, Stub, answer, http};
use crate::support::printer::{self, Variant};
use crate::support::raster::{Page, pages};

const MEDIA: &str = "om_tray-62x40_62x40mm";

pub fn client_with(uri: &str, timeout: Duration) -> Printer {
    Printer::at(&Address { uri: uri.to_owned(), timeout }).unwrap()
}

fn client(uri: &str) -> Printer {
    client_with(uri, Duration::from_secs(10))
}

/// A label of 62 by 40 mm with something on it, no two rows alike at the slanting edge.
fn picture() -> Bitmap {
    let mut picture = Bitmap::new(495, 319);
    for y in 0..319 {
        picture.fill(Rect { x: y, y, width: 7, height: 1 }, Ink::Black);
        picture.fill(Rect { x: 480, y, width: 15, height: 1 }, Ink::Black);
    }
    picture
}

fn raster() -> Vec<u8> {
    encode(&picture(), &Sheet { dpi: 203, width_um: 62_000, height_um: 40_000, media_name: MEDIA })
}

fn named(media: &str) -> Media {
    Media::Named(media.to_owned())
}

fn print(printer: &Printer, title: &str, media: Media) -> Sent {
    printer.print(&Job { title, document: &raster(), media, dpi: 203, copies: 1 })
}

/// Prints a label that is none of the shop's.
pub fn print_raster(printer: &Printer, title: &str) -> Sent {
    print(printer, title, named(MEDIA))
}

#[track_caller]
pub fn accepted(sent: Sent) -> i32 {
    match sent {
        Sent::Accepted { job_id, .. } => job_id,
        other => panic!("{other:?}"),
    }
}

#[track_caller]
fn refused(sent: Sent) -> String {
    match sent {
        Sent::Refused(words) => words,
        other => panic!("{other:?}"),
    }
}

#[track_caller]
fn unknown(sent: Sent) -> String {
    match sent {
        Sent::Unknown(words) => words,
        other => panic!("{other:?}"),
    }
}

/// Asks until the job is over or `done` says so.
fn follow(printer: &Printer, job_id: i32, done: impl Fn(&JobCondition) -> bool) -> JobCondition {
    let end = Instant::now() + Duration::from_secs(30);
    loop {
        let job = printer.job(job_id).unwrap();
        if done(&job) {
            return job;
        }
        assert!(Instant::now() < end, "{job:?}");
        thread::sleep(Duration::from_millis(50));
    }
}

fn the_same_dots(page: &Page, picture: &Bitmap) -> bool {
    (page.width, page.height) == (picture.width(), picture.height())
        && (0..page.height).all(|y| {
            (0..page.width)
                .all(|x| page.is_black(x, y) == picture.is_black(i32::try_from(x).unwrap(), i32::try_from(y).unwrap()))
        })
}

/// The reader is libcups. The last checks are those that must fail: another picture, and a file cut short.
#[test]
fn libcups_reads_our_raster_dot_by_dot() {
    let read = pages(&raster());
    assert_eq!(read.len(), 1);
    let header = &read[0].header;
    for (name, said) in [
        ("class", "PwgRaster".into()),
        ("type", "labels".into()),
        ("dpi", serde_json::json!([203, 203])),
        ("bits", 1.into()),
        ("space", 3.into()),
        ("copies", 1.into()),
        ("pages", 1.into()),
        ("points", serde_json::json!([176, 113])),
        ("box", serde_json::json!([0, 0, 495, 319])),
        ("size_name", MEDIA.into()),
    ] {
        assert_eq!(header[name], said, "{name}");
    }
    assert!(the_same_dots(&read[0], &picture()));
    let mut other = picture();
    other.set(494, 318, Ink::White);
    assert!(!the_same_dots(&read[0], &other));
    let mut short = raster();
    short.pop();
    assert!(pages(&short).is_empty());
}

#[test]
fn what_arrives_is_what_was_sent() {
    let peer = printer::Printer::start(Variant::Alone);
    let client = client(&peer.uri());
    let condition = client.condition().unwrap();
    assert_eq!((condition.state, condition.accepting, condition.copies), (3, true, 99));
    assert!(condition.formats.contains(&"image/pwg-raster".to_owned()), "{condition:?}");
    assert_eq!(
        (condition.raster_types.as_slice(), condition.resolutions.as_slice()),
        (&["black_1".into(), "sgray_8".into()][..], &[203][..])
    );
    assert!(condition.media.contains(&MEDIA.to_owned()), "{condition:?}");
    assert_eq!(condition.sizes[0].across, (6_200, 6_200));
    assert_eq!(condition.sizes[2].along, (1_000, 12_000));

    // Longer than a name may be, and no ASCII in it.
    let title = format!("棚札 {}", "鮪".repeat(112));
    let job = accepted(print(&client, &title, named(MEDIA)));
    assert_eq!(
        follow(&client, job, |job| job.state == 9).name.as_deref(),
        Some(format!("棚札 {}", "鮪".repeat(82)).as_str())
    );
    let sized = Media::Sized { across: 6_200, along: 4_000 };
    follow(&client, accepted(print(&client, "tray 12", sized)), |job| job.state == 9);
    let documents = peer.documents();
    assert_eq!(documents, [raster(), raster()]);
    assert!(the_same_dots(&pages(&documents[0])[0], &picture()));
    assert!(
        peer.log()[0].starts_with(&format!("image/pwg-raster media={MEDIA} copies=1 name=棚札 鮪")),
        "{:?}",
        peer.log()
    );
}

/// FLT-02, FLT-04 to FLT-08: what the real printer can be made to do.
#[test]
fn a_real_printer_in_trouble() {
    let mut peer = printer::Printer::start(Variant::Alone);
    let client = client(&peer.uri());
    assert!(refused(print(&client, "x", named("na_letter_8.5x11in"))).contains("0x040b"));
    let other = refused(print(&client, "x", named("iso_a4_210x297mm")));
    assert!(other.contains("not taken: media"), "{other}");

    peer.fault("media-empty-error,cover-open");
    let job = accepted(print(&client, "first", named(MEDIA)));
    let end = Instant::now() + Duration::from_secs(10);
    while !client.condition().unwrap().reasons.iter().any(|reason| reason.starts_with("media-empty")) {
        assert!(Instant::now() < end, "{:?}", client.condition());
    }
    assert_eq!(client.job(job).unwrap().state, 5);
    assert!(refused(print(&client, "second", named(MEDIA))).contains("0x0507"), "one job at a time");
    peer.mend();
    follow(&client, job, |job| job.state == 9);

    peer.abort_jobs(true);
    let job = accepted(print(&client, "third", named(MEDIA)));
    assert!(follow(&client, job, |job| job.state == 8).reasons.contains(&"aborted-by-system".to_owned()));
    peer.abort_jobs(false);

    peer.fault("cover-open");
    let job = accepted(print(&client, "fourth", named(MEDIA)));
    client.cancel(job).unwrap();
    peer.mend();
    follow(&client, job, |job| job.state == 7);
    assert!(matches!(client.cancel(4_711), Err(NoAnswer::NotFound(_))));
    assert!(matches!(client.job(4_711), Err(NoAnswer::NotFound(_))));

    peer.freeze(true);
    let patient = client_with(&peer.uri(), Duration::from_secs(2));
    let begun = Instant::now();
    // The kernel has taken the document by then: it may print once the printer goes on.
    unknown(print(&patient, "fifth", named(MEDIA)));
    assert!(begun.elapsed() < Duration::from_secs(5), "{:?}", begun.elapsed());
    peer.freeze(false);
    peer.switch_off();
    refused(print(&client, "sixth", named(MEDIA)));
    assert!(matches!(client.condition(), Err(NoAnswer::Unreachable(_))));
}

/// FLT-10 to FLT-13, and answers that are none: nobody knows, so nothing is said to be refused.
#[test]
fn an_answer_that_proves_nothing_is_unknown() {
    type Row = (&'static str, fn(&Request) -> Option<Vec<u8>>);
    let rows: [Row; 10] = [
        ("hangs up", |_| None),
        ("cut inside", |_| Some([&http("200 OK", "application/ipp", &[0; 200])[..91], &[2, 0, 0, 0]].concat())),
        ("HTTP 500", |_| Some(http("500 Internal Server Error", "text/plain", b""))),
        ("HTTP 302", |_| {
            Some(b"HTTP/1.1 302 Found\r\nLocation: http://127.0.0.1:1/\r\nContent-Length: 0\r\n\r\n".to_vec())
        }),
        ("a web page", |_| Some(http("200 OK", "text/html", b"<p>Welcome</p>"))),
        ("nothing", |_| Some(http("200 OK", "application/ipp", b""))),
        ("another's answer", |r| {
            Some(answer(r.id + 1, 0, DelimiterTag::JobAttributes, vec![("job-id", IppValue::Integer(7))]))
        }),
        ("no job number", |r| Some(answer(r.id, 0, DelimiterTag::JobAttributes, vec![]))),
        ("a fault of its own", |r| Some(answer(r.id, 0x0504, DelimiterTag::JobAttributes, vec![]))),
        ("a status nobody knows", |r| Some(answer(r.id, 0x05ee, DelimiterTag::JobAttributes, vec![]))),
    ];
    for (what, reply) in rows {
        let stub = Stub::start(Box::new(reply));
        let sent = print(&client(&stub.uri), "x", named(MEDIA));
        assert!(matches!(sent, Sent::Unknown(_)), "{what}: {sent:?}");
        let printed: Vec<Request> = stub.requests();
        let once = Request { operation: PRINT_JOB, id: 1, job_name: Some("x".into()), document: raster().len() };
        assert_eq!(printed, [once], "{what}: sent once");
    }
}

/// The counterpart: what a stub says clearly is believed.
#[test]
fn an_answer_that_is_clear_is_believed() {
    let took = Stub::start(Box::new(|r| {
        let job = vec![("job-id", IppValue::Integer(7)), ("job-uri", IppValue::Uri("ipp://x/7".try_into().unwrap()))];
        Some(answer(r.id, 0x0001, DelimiterTag::JobAttributes, job))
    }));
    let sent = print(&client(&took.uri), "x", named(MEDIA));
    assert_eq!(sent, Sent::Accepted { job_id: 7, job_uri: Some("ipp://x/7".into()) });
    for status in [0x0400_u16, 0x040a, 0x040b, 0x04ee, 0x0502, 0x0506, 0x0507] {
        let stub = Stub::start(Box::new(move |r| Some(answer(r.id, status, DelimiterTag::JobAttributes, vec![]))));
        let words = refused(print(&client(&stub.uri), "x", named(MEDIA)));
        assert!(words.contains(&format!("0x{status:04x}")), "{words}");
    }
    for status in ["401 Unauthorized", "404 Not Found", "413 Content Too Large"] {
        let stub = Stub::start(Box::new(move |_| Some(http(status, "text/plain", b"no"))));
        refused(print(&client(&stub.uri), "x", named(MEDIA)));
    }
}

/// A listener that takes no connection off its queue: the request goes into the kernel and no answer comes. It must end by itself.
#[test]
fn a_printer_that_never_answers_ends_in_time() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let uri = format!("ipp://127.0.0.1:{}/ipp/print", listener.local_addr().unwrap().port());
    let begun = Instant::now();
    unknown(print(&client_with(&uri, Duration::from_millis(700)), "x", named(MEDIA)));
    let asked = client_with(&uri, Duration::from_millis(700)).condition();
    assert!(matches!(asked, Err(NoAnswer::Unreachable(_))), "{asked:?}");
    assert!((1_300..4_000).contains(&begun.elapsed().as_millis()), "{:?}", begun.elapsed());
}
