//! The chart as a small PNG: drawn at twice its size, at most 256 colours.

use std::collections::BTreeMap;
use std::sync::Arc;

use resvg::{tiny_skia, usvg};

use super::font;

/// Width of the picture in the mail \[px\], at twice the 440 it is shown at.
const MAIL_WIDTH_PX: f32 = 880.0;
/// Paper around the picture, in the same pixels: 8 px as shown.
const MARGIN_PX: f32 = 16.0;
/// Colours of a palette.
const MOST_COLOURS: usize = 256;

/// Why a chart could not be drawn. The letter goes out without it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChartError {
    /// The SVG cannot be read.
    #[error("the chart could not be read as SVG ({0}); the letter goes out without it")]
    Svg(String),
    /// No room for the picture.
    #[error("a chart of {width} by {height} pixels could not be drawn; the letter goes out without it")]
    Size {
        /// Wanted width.
        width: u32,
        /// Wanted height.
        height: u32,
    },
    /// The PNG cannot be written.
    #[error("the chart could not be written as PNG ({0}); the letter goes out without it")]
    Png(String),
}

/// Reads a chart with the embedded font and no other.
pub(super) fn tree(svg: &str) -> Result<usvg::Tree, usvg::Error> {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(font::REGULAR.to_vec());
    fonts.load_font_data(font::SEMIBOLD.to_vec());
    fonts.set_sans_serif_family(font::FAMILY);
    let options = usvg::Options {
        font_family: font::FAMILY.to_owned(),
        fontdb: Arc::new(fonts),
        ..usvg::Options::default()
    };
    usvg::Tree::from_str(svg, &options)
}

/// Draws a chart for the mail: 880 px wide, opaque paper, palette colours.
pub fn png(svg: &str) -> Result<Vec<u8>, ChartError> {
    png_of_width(svg, MAIL_WIDTH_PX)
}

/// The same at another width \[px\], the paper's margin included.
pub fn png_of_width(svg: &str, width_px: f32) -> Result<Vec<u8>, ChartError> {
    let tree = tree(svg).map_err(|error| ChartError::Svg(error.to_string()))?;
    let size = tree.size();
    let scale = (width_px - 2.0 * MARGIN_PX) / size.width();
    let (width, height) = (pixels(width_px), pixels(size.height() * scale + 2.0 * MARGIN_PX));
    let mut picture = tiny_skia::Pixmap::new(width, height).ok_or(ChartError::Size { width, height })?;
    picture.fill(tiny_skia::Color::from_rgba8(0xFB, 0xF8, 0xF1, 0xFF));
    let place = tiny_skia::Transform::from_scale(scale, scale).post_translate(MARGIN_PX, MARGIN_PX);
    resvg::render(&tree, place, &mut picture.as_mut());
    let colours: Vec<[u8; 3]> = picture
        .pixels()
        .iter()
        .map(|pixel| [pixel.red(), pixel.green(), pixel.blue()])
        .collect();
    write(width, height, &colours).map_err(|error| ChartError::Png(error.to_string()))
}

fn pixels(size: f32) -> u32 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a picture has at most some thousand pixels"
    )]
    let whole = size.ceil().max(1.0) as u32;
    whole
}

fn write(width: u32, height: u32, colours: &[[u8; 3]]) -> Result<Vec<u8>, png::EncodingError> {
    let palette = Palette::of(colours);
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width, height);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette.colours.concat());
    encoder.set_compression(png::Compression::High);
    // Neighbours in a palette are no neighbours in number: filters only do harm.
    encoder.set_filter(png::Filter::NoFilter);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&palette.places)?;
    writer.finish()?;
    Ok(file)
}

/// A palette, and the place in it of each pixel.
struct Palette {
    colours: Vec<[u8; 3]>,
    places: Vec<u8>,
}

impl Palette {
    /// The most frequent colours; others go to the nearest. A chart has few flat colours and their blends.
    fn of(pixels: &[[u8; 3]]) -> Self {
        let mut counts: BTreeMap<[u8; 3], usize> = BTreeMap::new();
        for pixel in pixels {
            *counts.entry(*pixel).or_default() += 1;
        }
        let mut by_count: Vec<([u8; 3], usize)> = counts.iter().map(|(colour, count)| (*colour, *count)).collect();
        by_count.sort_by_key(|(colour, count)| (std::cmp::Reverse(*count), *colour));
        let mut colours: Vec<[u8; 3]> = Vec::new();
        for (colour, _) in &by_count {
            // A colour close to one already taken adds nothing the eye sees.
            if colours.len() < MOST_COLOURS && colours.iter().all(|taken| distance(*taken, *colour) > 48) {
                colours.push(*colour);
            }
        }
        let nearest: BTreeMap<[u8; 3], u8> = counts
            .keys()
            .map(|colour| (*colour, nearest(&colours, *colour)))
            .collect();
        let places = pixels
            .iter()
            .map(|pixel| nearest.get(pixel).copied().unwrap_or(0))
            .collect();
        Self { colours, places }
    }
}

fn nearest(colours: &[[u8; 3]], colour: [u8; 3]) -> u8 {
    let best = colours
        .iter()
        .enumerate()
        .min_by_key(|(_, taken)| distance(**taken, colour));
    best.and_then(|(place, _)| u8::try_from(place).ok()).unwrap_or(0)
}

fn distance(a: [u8; 3], b: [u8; 3]) -> i32 {
    a.iter()
        .zip(b)
        .map(|(a, b)| (i32::from(*a) - i32::from(b)).pow(2))
        .sum()
}
