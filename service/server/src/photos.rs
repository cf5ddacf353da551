//! Photos: a picture that comes in is decoded, turned upright and encoded anew, so that of the file a phone made only
//! the pixels are left: no place, no time, no owner, no thumbnail, nothing hidden behind the end. Its name is its own hash.

use std::{
    io::Cursor,
    sync::{Mutex, PoisonError},
};

use facts::PhotoId;
use image::{DynamicImage, ImageDecoder, ImageReader, Limits, codecs::jpeg::JpegEncoder, imageops::FilterType};
use sha2::{Digest, Sha256};

use crate::problem::{Kind, Problem};

/// Longest side as kept, pixels: enough to see a hairline crack in a picture of a top.
const SIDE_PX: u32 = 2048;
/// Largest side taken, pixels, and most memory a decoder and its picture may use: a small file can claim to be a huge one.
const LARGEST_PX: u32 = 20_000;
const MEMORY: u64 = 512 * 1024 * 1024;
const QUALITY: u8 = 85;
/// One picture is taken in at a time: two would need the memory twice.
static TURN: Mutex<()> = Mutex::new(());

/// A picture as it is kept.
pub(crate) struct Fit {
    pub(crate) photo: PhotoId,
    pub(crate) jpeg: Vec<u8>,
    pub(crate) width_px: u32,
    pub(crate) height_px: u32,
}

fn unreadable(why: impl std::fmt::Display) -> Problem {
    let mend = "send a JPEG, PNG or WebP picture; phones can be set to make JPEG";
    Problem::new(Kind::Invalid, format!("the picture cannot be read: {why}"), mend).about("photo")
}

/// Makes of a picture what is kept of it: only its pixels, upright and no larger than needed.
///
/// # Errors
/// When it is no picture.
pub(crate) fn fit(picture: &[u8]) -> Result<Fit, Problem> {
    let _turn = TURN.lock().unwrap_or_else(PoisonError::into_inner);
    let image = pixels(picture)?;
    let mut jpeg = Vec::new();
    image.to_rgb8().write_with_encoder(JpegEncoder::new_with_quality(&mut jpeg, QUALITY)).map_err(unreadable)?;
    let hash: String = Sha256::digest(&jpeg).iter().map(|byte| format!("{byte:02x}")).collect();
    Ok(Fit { photo: PhotoId::new(hash)?, jpeg, width_px: image.width(), height_px: image.height() })
}

fn pixels(picture: &[u8]) -> Result<DynamicImage, Problem> {
    let mut reader = ImageReader::new(Cursor::new(picture)).with_guessed_format().map_err(unreadable)?;
    let mut limits = Limits::default();
    (limits.max_image_width, limits.max_image_height) = (Some(LARGEST_PX), Some(LARGEST_PX));
    limits.max_alloc = Some(MEMORY);
    reader.limits(limits.clone());
    let mut decoder = reader.into_decoder().map_err(unreadable)?;
    // What the decoder holds to itself it counts itself; not what it gives back.
    limits.reserve(decoder.total_bytes()).map_err(|_| {
        let (width_px, height_px) = decoder.dimensions();
        let what = format!("the picture is too large: {width_px} by {height_px} pixels");
        Problem::new(Kind::Invalid, what, "send it smaller; 4,000 pixels along its longer side are plenty")
            .about("photo")
    })?;
    // The camera says which side is up beside the pixels, and that goes with the rest.
    let orientation = decoder.orientation().map_err(unreadable)?;
    let mut image = DynamicImage::from_decoder(decoder).map_err(unreadable)?;
    image.apply_orientation(orientation);
    if image.width().max(image.height()) > SIDE_PX {
        image = image.resize(SIDE_PX, SIDE_PX, FilterType::CatmullRom);
    }
    Ok(image)
}

/// What a photo is kept under.
pub(crate) fn name(photo: &PhotoId) -> String {
    format!("photos/{photo}.jpg")
}
