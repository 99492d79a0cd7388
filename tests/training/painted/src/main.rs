//! Paints training pictures with their labels: NAME.jpg, NAME.labels.png, NAME.shadow.png and NAME.json for every seed.
//!
//! One thread a process: many processes side by side fill a machine. Files are written beside their place and renamed,
//! the JSON last, so that a scene whose JSON is there is whole.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::Parser;
use strandrule::synth::{GroundPicture, shoot_labelled, training_scene};

mod grounds;
mod told;

/// Paints training pictures.
#[derive(Debug, Parser)]
struct Args {
    /// Seed of the first scene.
    #[arg(long)]
    first: u64,
    /// How many scenes.
    #[arg(long, default_value_t = u64::MAX)]
    count: u64,
    /// Stop after so many seconds.
    #[arg(long)]
    seconds: Option<f64>,
    /// Every how many-th seed: processes side by side take turns.
    #[arg(long, default_value_t = 1)]
    stride: u64,
    /// Where the files go.
    #[arg(long)]
    out: PathBuf,
    /// Folder of JPEGs that may become tables.
    #[arg(long)]
    grounds: Option<PathBuf>,
}

fn main() -> ExitCode {
    let args = Args::parse();
    match paint(&args) {
        Ok(count) => {
            eprintln!("{count} scenes");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("painted: {error}");
            ExitCode::FAILURE
        }
    }
}

fn paint(args: &Args) -> io::Result<u64> {
    if args.count == u64::MAX && args.seconds.is_none() {
        return Err(io::Error::other("say --count or --seconds"));
    }
    fs::create_dir_all(&args.out)?;
    let mut grounds = args.grounds.as_deref().map(grounds::Grounds::of).transpose()?;
    let pool = strandrule_pool()?;
    let until = args.seconds.map(|s| Instant::now() + Duration::from_secs_f64(s));
    let mut done = 0;
    while done < args.count && until.is_none_or(|u| Instant::now() < u) {
        let seed = args.first + done * args.stride;
        let picture = grounds.as_mut().and_then(|g| g.pick(seed));
        pool.install(|| write(&args.out, seed, picture))?;
        done += 1;
    }
    Ok(done)
}

/// One thread.
fn strandrule_pool() -> io::Result<rayon::ThreadPool> {
    rayon::ThreadPoolBuilder::new().num_threads(1).build().map_err(io::Error::other)
}

fn write(out: &Path, seed: u64, picture: Option<std::sync::Arc<GroundPicture>>) -> io::Result<()> {
    let training = training_scene(seed, picture);
    let shot = shoot_labelled(&training.scene);
    let name = &training.scene.name;
    let jpeg = training.finish.encode(&shot.picture).map_err(io::Error::other)?;
    let (width, height) = (shot.labels.width(), shot.labels.height());
    whole(&out.join(format!("{name}.jpg")), &jpeg)?;
    let labels = told::png(width, height, shot.labels.samples().as_flattened(), image::ExtendedColorType::Rgb8)?;
    whole(&out.join(format!("{name}.labels.png")), &labels)?;
    let shadow = told::png(width, height, shot.shadow.samples(), image::ExtendedColorType::L8)?;
    whole(&out.join(format!("{name}.shadow.png")), &shadow)?;
    whole(&out.join(format!("{name}.json")), told::json(seed, &training.scene, &shot).to_string().as_bytes())
}

/// Writes a file beside its place and moves it there: nobody ever sees half of it.
fn whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".tmp");
    fs::write(&beside, bytes)?;
    fs::rename(&beside, path)
}
