//! How long a measurement takes, beside the decoding that nobody can do without: `cargo bench`.
//!
//! First come the times of each stage on one thread, then a table with their ratios to decoding, taken in turns so that
//! a busy machine troubles both sides alike. Where libjpeg-turbo's `djpeg` is installed, its decode is in the table too.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop at once, and its output is a table")]

mod photos;
mod ratios;

use divan::Bencher;
use divan::counter::BytesCount;
use strandrule::measure::photo::{self, Limits, Photo};
use strandrule::measure::pipeline::{self, Params, Request};
use strandrule::measure::scale::{self, ScaleFound, ScaleRequest};
use strandrule::measure::strand::{self, StrandRequest, Strands};
use strandrule::measure::twist::{self, TwistRequest};
use strandrule::show::{json, overlay};

use photos::{MEGAPIXELS, jpeg};

fn main() {
    // One thread: what the ratios speak of, and what each photo of a batch gets.
    rayon::ThreadPoolBuilder::new().num_threads(1).build_global().unwrap();
    divan::main();
    // Divan's own options (a filter, `--test`, `--list`) ask for something else than the table.
    if std::env::args().skip(1).all(|a| a == "--bench") {
        ratios::print();
    }
}

fn decode(megapixels: usize) -> Photo {
    photo::decode("bench.jpg".as_ref(), jpeg(megapixels).to_vec(), &Limits::default()).unwrap()
}

fn scaled(photo: &Photo) -> ScaleFound {
    scale::find_scale(photo, &ScaleRequest::default(), &Params::default().scale)
}

fn stranded(photo: &Photo, scale: &ScaleFound) -> Strands {
    strand::find_strands(photo, scale, &StrandRequest::default())
}

#[divan::bench(args = MEGAPIXELS, sample_count = 5, sample_size = 1)]
fn a_decode(bencher: Bencher, megapixels: usize) {
    bencher.counter(BytesCount::new(jpeg(megapixels).len())).bench(|| decode(megapixels));
}

#[divan::bench(args = MEGAPIXELS, sample_count = 5, sample_size = 1)]
fn b_scale(bencher: Bencher, megapixels: usize) {
    let photo = decode(megapixels);
    bencher.bench(|| scaled(&photo));
}

#[divan::bench(args = MEGAPIXELS, sample_count = 5, sample_size = 1)]
fn c_strand(bencher: Bencher, megapixels: usize) {
    let photo = decode(megapixels);
    let scale = scaled(&photo);
    bencher.bench(|| stranded(&photo, &scale));
}

#[divan::bench(args = MEGAPIXELS, sample_count = 5, sample_size = 1)]
fn d_twist(bencher: Bencher, megapixels: usize) {
    let photo = decode(megapixels);
    let strands = stranded(&photo, &scaled(&photo));
    bencher.bench(|| twist::read_twist(&strands, &TwistRequest::default()));
}

/// From the stages' evidence to the report's text: evenness is in here.
#[divan::bench(args = MEGAPIXELS, sample_count = 5, sample_size = 1)]
fn e_report(bencher: Bencher, megapixels: usize) {
    let photo = decode(megapixels);
    let evidence = pipeline::measure(&photo, &Request::default(), &Params::default()).evidence;
    bencher.bench(|| json::text(&pipeline::report(&photo, &Request::default(), &evidence)).unwrap());
}

#[divan::bench(args = MEGAPIXELS, sample_count = 5, sample_size = 1)]
fn f_whole(bencher: Bencher, megapixels: usize) {
    bencher
        .counter(BytesCount::new(jpeg(megapixels).len()))
        .bench(|| pipeline::measure(&decode(megapixels), &Request::default(), &Params::default()));
}

/// The picture of what was measured; not counted in the ratios.
#[divan::bench(args = [3, 12], sample_count = 5, sample_size = 1)]
fn g_overlay(bencher: Bencher, megapixels: usize) {
    let photo = decode(megapixels);
    let measured = pipeline::measure(&photo, &Request::default(), &Params::default());
    bencher.bench(|| overlay::png(&photo, &Request::default(), &measured.report, &measured.evidence).unwrap());
}
