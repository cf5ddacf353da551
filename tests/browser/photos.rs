//! Photos: of the file a phone makes only the pixels are kept. Whether a picture says where it was taken is asked of an
//! Exif reader that is not ours.

use std::io::Cursor;

use bench::{Answer, Bench};
use image::{GenericImageView, ImageFormat, Rgb, RgbImage};

use super::planned;

/// A JPEG as a phone makes it: lying on its side, with an APP1 segment of Exif 2.32 (CIPA DC-008) that says so and says
/// 51° 30' north, and something after its end.
fn of_a_phone() -> Vec<u8> {
    // Left half red, right half blue, as it lies on the sensor.
    let lying = RgbImage::from_fn(64, 32, |x, _| if x < 32 { Rgb([200, 20, 20]) } else { Rgb([20, 20, 200]) });
    let mut plain = Vec::new();
    lying.write_to(&mut Cursor::new(&mut plain), ImageFormat::Jpeg).unwrap();
    let short = |n: u16| n.to_be_bytes().to_vec();
    let long = |n: u32| n.to_be_bytes().to_vec();
    // A TIFF directory of two entries (orientation 6: turn it right by 90°; pointer to the GPS directory), then that.
    let tiff = [
        b"MM\0*".to_vec(),
        long(8),
        short(2),
        short(0x0112),
        short(3),
        long(1),
        short(6),
        short(0),
        short(0x8825),
        short(4),
        long(1),
        long(38),
        long(0),
        short(2),
        short(1),
        short(2),
        long(2),
        b"N\0\0\0".to_vec(),
        short(2),
        short(5),
        long(3),
        long(68),
        long(0),
        long(51),
        long(1),
        long(30),
        long(1),
        long(0),
        long(1),
    ]
    .concat();
    let segment = [b"\xFF\xE1".to_vec(), short((tiff.len() + 8) as u16), b"Exif\0\0".to_vec(), tiff].concat();
    [&plain[..2], &segment, &plain[2..], b"the owner's name"].concat()
}

fn says_where(jpeg: &[u8]) -> bool {
    let read = exif::Reader::new().read_from_container(&mut Cursor::new(jpeg));
    read.is_ok_and(|exif| exif.get_field(exif::Tag::GPSLatitude, exif::In::PRIMARY).is_some())
}

/// The beginning of a PNG (ISO/IEC 15948) of 10,000 by 10,000 pixels of four channels of 16 bits, with no pixel in it.
const CLAIMS_MUCH: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\x27\x10\0\0\x27\x10\x10\x06\0\0\0\xea\xde\xbe\x64\
      \0\0\0\x02IDAT\x78\x9c\x62\xa4\x91\x2b";

async fn send(bench: &Bench, picture: &[u8]) -> Answer {
    let head = "--b\r\ncontent-disposition: form-data; name=\"shows\"\r\n\r\nbefore\r\n--b\r\n\
                content-disposition: form-data; name=\"photo\"; filename=\"x.jpg\"\r\ncontent-type: image/jpeg\r\n\r\n";
    let body = [head.as_bytes(), picture, b"\r\n--b--\r\n"].concat();
    let request = bench.http().post(bench.url("/jobs/loose/photos"));
    bench.send(request.header("content-type", "multipart/form-data; boundary=b").body(body)).await
}

#[tokio::test]
async fn a_photo_is_kept_upright_without_where_it_was_taken() {
    let bench = Bench::small().await;
    bench.furnish().await;
    planned(&bench).await;
    let sent = of_a_phone();
    assert!(says_where(&sent), "the sample says nothing that could be kept");
    let page = send(&bench, &sent).await;
    assert_eq!(page.status, 200, "{}", page.text);
    // Sent again it is the same photo.
    let page = send(&bench, &sent).await.text;
    assert_eq!(page.matches("<img src=\"/photos/").count(), 1, "{page}");
    assert!(page.contains("width=\"32\" height=\"64\"") && page.contains("alt=\"before\""), "{page}");
    let address = page.split("<img src=\"").nth(1).unwrap().split('"').next().unwrap().to_string();
    // It is there after a restart, too.
    let bench = bench.restart(false).await;
    let answer = bench.http().get(bench.url(&address)).send().await.unwrap();
    let kept = answer.bytes().await.unwrap();
    assert!(!says_where(&kept));
    assert!(exif::Reader::new().read_from_container(&mut Cursor::new(&kept)).is_err(), "an Exif segment is left");
    assert!(!kept.windows(5).any(|part| part == b"owner"), "what stood behind the end is left");
    let image = image::load_from_memory(&kept).unwrap();
    assert_eq!(image.dimensions(), (32, 64));
    // Turned right by 90° the left half is on top.
    let (top, bottom) = (image.get_pixel(16, 8), image.get_pixel(16, 56));
    assert!(top[0] > 150 && top[2] < 100 && bottom[2] > 150 && bottom[0] < 100, "{top:?} {bottom:?}");
    bench.stop().await;
}

#[tokio::test]
async fn what_is_no_photo_or_too_large_is_refused_and_leaves_nothing() {
    let mut shop = bench::Shop::small();
    shop.settings.store.photo_limit_mib = 1;
    let journal = shop.settings.store.path.clone();
    let bench = Bench::open(shop, benchclock::Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    planned(&bench).await;
    send(&bench, b"<svg onload=\"alert(1)\">").await.problem(422, "invalid");
    send(&bench, &vec![0; 1_100_000]).await.problem(413, "too-large");
    let half = of_a_phone();
    send(&bench, &half[..half.len() / 2]).await.problem(422, "invalid");
    // A few bytes that claim 800 MB of pixels: refused by what they claim.
    let problem = send(&bench, CLAIMS_MUCH).await.problem(422, "invalid");
    assert!(problem["detail"].as_str().unwrap().contains("10000 by 10000 pixels"), "{problem}");
    let journal = rusqlite::Connection::open(journal).unwrap();
    let kept = "SELECT count(*) FROM file WHERE name LIKE 'photos/%'";
    assert_eq!(journal.query_row(kept, [], |row| row.get::<_, i64>(0)).unwrap(), 0);
    // Only what was added to a job is shown.
    bench.get("/photos/..%2Fjournal.db.jpg").await.problem(404, "not-found");
    bench.get(&format!("/photos/{}.jpg", "0".repeat(64))).await.problem(404, "not-found");
    bench.stop().await;
}
