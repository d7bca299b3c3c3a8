//! What may be said on the command line.

use clap::{Parser, Subcommand, ValueEnum};
use inkarnat_app::{Codec, LimitTo};
use std::path::PathBuf;

/// Said wherever aims are set.
pub(crate) const CAUTION: &str = "\
Targets for skin are conventions, not rules, and grew up around light skin. The default aim, `own`, keeps each person's \
own complexion; never aim one person at another's. Numbers need no calibrated display; looking does.";

const PATCH_HELP: &str = "\
Skin to read: 'CLIP@FRAME:ellipse=CX,CY,RX,RY[:person=NAME]'

CLIP is the clip's path or file name, FRAME the frame it is drawn on (from 0). Numbers are fractions of picture width \
and height: centre, half width, half height. A polygon is 'polygon=X,Y;X,Y;X,Y…'. Draw on lit skin (forehead, cheek), \
free of hair, lips and highlights; it is followed through the shot. Without a name the person is named after the shot. \
A second patch of the same person on another frame takes over where the first one is lost.";

const PERSON_HELP: &str = "\
Aim of a person: 'NAME=own' (the default), 'NAME=level:62-68,hue:120-126', 'NAME=like:SHOT', or a preset such as \
'NAME=measured-tan'

Level is in percent of reference white, hue in degrees on the Cb/Cr plane, counter-clockwise from +Cb (the skin-tone \
line is 123°). What is not typed stays the person's own.

Targets are conventions, not rules, and grew up around light skin: never aim a person at another complexion. Presets: \
practice-light, practice-deep (common practice, no source, brighter than such skin measures); measured-very-light, \
measured-light, measured-intermediate, measured-tan, measured-brown, measured-dark (published facial spectra).";

const COMPLEXION_HELP: &str = "\
Complexions are the classes of published facial spectra: very-light, light, intermediate, tan, brown, dark. One may be \
suggested beside a name, with its uncertainty; it is never set but by you, and setting it moves no picture.";

/// Brings the skin of each person in a film to where it should read, with the smallest correction, and proves it on the
/// delivered files.
#[derive(Debug, Parser)]
#[command(
    name = "inkarnat",
    version,
    max_term_width = 100,
    after_help = "\
The whole job on one clip:
  inkarnat run shot.mov --to out
The same in steps:
  inkarnat start day.inkarnat *.mov     inkarnat find day.inkarnat               inkarnat people day.inkarnat --name 'person 1=Ana'
  inkarnat fix day.inkarnat             inkarnat handover day.inkarnat --to out  inkarnat prove day.inkarnat

Sources are never written to. Every step can be stopped and goes on where it was.

Exit codes: 0 all on aim or kept; 1 error; 2 finished, but some shot is short, unreadable or failed proof (each is named)."
)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) verb: Verb,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    /// The whole job: take in, read, fix, hand over, prove
    Run {
        /// The clips (film files, or stills as one-frame shots)
        #[arg(required = true)]
        clips: Vec<PathBuf>,
        /// The cut list that uses the clips (.otio or .edl); without it each clip is a shot
        #[arg(long, value_name = "LIST")]
        cut: Option<PathBuf>,
        /// Directory for the film file, clips/, cdl/, luts/ and readings.json
        #[arg(long, value_name = "DIR")]
        to: PathBuf,
        /// The film file, if not in that directory
        #[arg(long, value_name = "FILE")]
        film: Option<PathBuf>,
        #[arg(long, value_name = "PATCH", help = PATCH_HELP.split("\n\n").next().unwrap_or(PATCH_HELP), long_help = PATCH_HELP)]
        patch: Vec<String>,
        #[arg(long, value_name = "AIM", help = PERSON_HELP.split("\n\n").next().unwrap_or(PERSON_HELP), long_help = PERSON_HELP)]
        person: Vec<String>,
        /// A tint that cameras of a scene share (candles, a sunset): keep it, or correct it; else it is kept and asked about
        #[arg(long, value_enum)]
        tint: Option<TintWord>,
        /// Take the exposure that the pictures propose for what is dark or bright as a whole; else it is only proposed
        #[arg(long)]
        accept: bool,
        /// What brings clips to the working signal (.cube, .clf, .cdl): of all, or of one ('CLIP=FILE')
        #[arg(long, value_name = "FILE")]
        input: Vec<String>,
        /// The look over the fix (.cube, .clf, .cdl): readings and aims are what is seen through it
        #[arg(long, value_name = "FILE")]
        look: Option<PathBuf>,
        /// How clips are coded
        #[arg(long, value_enum, default_value_t = CodecName::Prores)]
        codec: CodecName,
        /// Look for no faces, in this film from now on: drawn patches alone are read
        #[arg(long)]
        no_faces: bool,
        /// A first pass over every N-th frame; without it a later run reads the rest
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
        every: Option<u64>,
    },
    /// Make a film of clips, or add clips to one
    Start {
        /// The film file, NAME.inkarnat
        film: PathBuf,
        /// The clips
        #[arg(required = true)]
        clips: Vec<PathBuf>,
        /// The cut list that uses them (.otio or .edl); without it each clip is a shot
        #[arg(long, value_name = "LIST")]
        cut: Option<PathBuf>,
        #[arg(long, value_name = "PATCH", help = PATCH_HELP.split("\n\n").next().unwrap_or(PATCH_HELP), long_help = PATCH_HELP)]
        patch: Vec<String>,
    },
    /// Find faces, follow them, read them, and say who is who
    Find {
        /// The film file
        film: PathBuf,
        /// A first pass over every N-th frame
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
        every: Option<u64>,
    },
    /// Read every drawn patch and every face that was found
    Read {
        /// The film file
        film: PathBuf,
        #[arg(long, value_name = "PATCH", help = PATCH_HELP.split("\n\n").next().unwrap_or(PATCH_HELP), long_help = PATCH_HELP)]
        patch: Vec<String>,
    },
    /// Draw patches, take them back, or list them
    Patch {
        /// The film file
        film: PathBuf,
        #[arg(value_name = "PATCH", help = PATCH_HELP.split("\n\n").next().unwrap_or(PATCH_HELP), long_help = PATCH_HELP)]
        patches: Vec<String>,
        /// Take the patch that was drawn there back: 'CLIP@FRAME' or 'CLIP@FRAME:person=NAME'
        #[arg(long, value_name = "WHERE")]
        remove: Vec<String>,
    },
    /// List the people of a film; name, merge or split them, or set a complexion
    #[command(after_help = COMPLEXION_HELP)]
    People {
        /// The film file
        film: PathBuf,
        /// Name somebody: 'person 1=Ana'
        #[arg(long, value_name = "OLD=NEW")]
        name: Vec<String>,
        /// Two people are one, under the first name: 'Ana,person 3'
        #[arg(long, value_name = "NAME,NAME")]
        merge: Vec<String>,
        /// The face in that shot is somebody else's: 'Ana@SHOT'
        #[arg(long, value_name = "NAME@SHOT")]
        split: Vec<String>,
        /// Set a complexion: 'Ana=tan'; 'Ana=none' takes it back
        #[arg(long, value_name = "NAME=COMPLEXION")]
        complexion: Vec<String>,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// Answer an open question (`show` lists them)
    Answer {
        /// The film file
        film: PathBuf,
        /// Number of the question
        question: u64,
        /// The answer
        #[arg(value_enum)]
        answer: YesNo,
    },
    /// Erase all face data for good; readings, people and decisions stay
    Erase {
        /// The film file
        film: PathBuf,
    },
    /// Say where people should read; without --person, show it
    Aim {
        /// The film file
        film: PathBuf,
        #[arg(long, value_name = "AIM", help = PERSON_HELP.split("\n\n").next().unwrap_or(PERSON_HELP), long_help = PERSON_HELP)]
        person: Vec<String>,
        /// A tint that cameras of a scene share (candles, a sunset): keep it, or correct it
        #[arg(long, value_enum)]
        tint: Option<TintWord>,
        /// The scene that --tint is about; without it, the whole film
        #[arg(long, value_name = "NAME", requires = "tint")]
        scene: Option<String>,
        /// Take the exposure that the pictures propose: for all, or for the scene (or setup) of this name; `fix` applies it
        #[arg(long, value_name = "NAME", num_args = 0..=1)]
        accept: Option<Option<String>>,
        /// Exposure of a scene (of a setup, where no scenes were told apart) in stops; `own`: nothing is said
        #[arg(long, value_name = "NAME=STOPS", allow_hyphen_values = true)]
        exposure: Vec<String>,
    },
    /// Say what brings clips to the working signal (camera log, another coding); without a file, show it
    ///
    /// The first link of the chain: input transform, fix, look. Everything is read, fixed and rendered behind it. The file is
    /// kept in the film. What was read of the clips is read again by the next `find` or `read`.
    Input {
        /// The film file
        film: PathBuf,
        /// The transform: .cube, .clf, .cc, .ccc or .cdl, from the clip's signal to the film's working signal
        file: Option<PathBuf>,
        /// The clips; without any, all of the film
        clips: Vec<String>,
        /// Take it away: the clips are the working signal as they are
        #[arg(long)]
        none: bool,
    },
    /// Say which look lies over the fix, in the film or in a scene; without a file, show it
    ///
    /// Readings, aims and pictures are what is seen through it, and fixes are found through it. What is handed over leaves it
    /// out unless asked (`handover --with-look`). The file is kept in the film; nothing is read again.
    Look {
        /// The film file
        film: PathBuf,
        /// The look: .cube, .clf, .cc, .ccc or .cdl
        file: Option<PathBuf>,
        /// The scene; without it, the film, for scenes that say nothing else
        #[arg(long, value_name = "NAME")]
        scene: Option<String>,
        /// Take it away; in a scene: none there, even where the film has one
        #[arg(long, conflicts_with = "file")]
        none: bool,
        /// The scene has the film's again
        #[arg(long, requires = "scene", conflicts_with_all = ["file", "none"])]
        of_film: bool,
    },
    /// Find the smallest correction of every shot
    Fix {
        /// The film file
        film: PathBuf,
        /// A shot whose fix is to be the same in all frames, or no longer
        #[arg(requires = "how")]
        shot: Option<String>,
        /// The fix of SHOT does not follow its light
        #[arg(long, group = "how", requires = "shot")]
        constant: bool,
        /// The fix of SHOT follows its light again, where skin and background show that it changes
        #[arg(long, group = "how", requires = "shot", conflicts_with = "constant")]
        follow: bool,
    },
    /// Leave a shot as it is: no fix, handed over unchanged, proved
    Keep {
        /// The film file
        film: PathBuf,
        /// The shot
        shot: String,
        /// Take it back
        #[arg(long)]
        undo: bool,
    },
    /// Take a new cut in: what was decided goes with the source frames that it was decided about
    Cut {
        /// The film file
        film: PathBuf,
        /// The cut list (.otio or .edl), or the finished picture, whose shots are then found
        list: PathBuf,
        /// Clips that it uses and the film does not know yet
        clips: Vec<PathBuf>,
        /// Frame rate of an EDL, which does not say it; without it, that of the clips
        #[arg(long, value_name = "RATE")]
        rate: Option<String>,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// Put shots into one setup or scene (this joins, splits and moves), or give one another name
    Group {
        /// The film file
        film: PathBuf,
        /// The shots that belong together; none: rename
        shots: Vec<String>,
        /// The setup: it carries one fix
        #[arg(
            long,
            value_name = "NAME",
            conflicts_with = "scene",
            required_unless_present = "scene"
        )]
        setup: Option<String>,
        /// The scene: what is meant to look alike
        #[arg(long, value_name = "NAME")]
        scene: Option<String>,
        /// Another name for that setup or scene
        #[arg(long, value_name = "NEW", conflicts_with = "shots")]
        name: Option<String>,
    },
    /// Write a line of text to a shot; an empty one takes it away
    Note {
        /// The film file
        film: PathBuf,
        /// The shot
        shot: String,
        /// The text
        text: String,
    },
    /// Take the last decision back
    Undo {
        /// The film file
        film: PathBuf,
    },
    /// Take the last decision again that was taken back
    Redo {
        /// The film file
        film: PathBuf,
    },
    /// Show how the film, or one shot, stands
    Show {
        /// The film file
        film: PathBuf,
        /// One shot
        shot: Option<String>,
        /// As JSON (docs/show.schema.json)
        #[arg(long)]
        json: bool,
    },
    /// Write corrected clips, CDL files, tables and readings
    Handover {
        /// The film file
        film: PathBuf,
        /// Directory for clips/, cdl/, luts/ and readings.json
        #[arg(long, value_name = "DIR")]
        to: PathBuf,
        /// How clips are coded
        #[arg(long, value_enum, default_value_t = CodecName::Prores)]
        codec: CodecName,
        /// A finished picture (`cut FILM PICTURE`) as one file, every shot with its fix, dissolves from one to the next; in place of
        /// a clip of each shot
        #[arg(long, conflicts_with_all = ["since", "handles", "encoder_input"])]
        whole: bool,
        /// Only what has changed since that version
        #[arg(long, value_name = "VERSION")]
        since: Option<String>,
        /// Name of the version that is recorded; without it, "version" and the next number
        #[arg(long, value_name = "NAME")]
        name: Option<String>,
        /// Source frames beyond each end of a shot that is a piece of a clip; 12 with --since, else 0
        #[arg(long, value_name = "FRAMES")]
        handles: Option<u64>,
        /// Keep R'G'B' of clips inside EBU R 103's limits at the cost of saturation (never unasked): -5 to 105 %, or `nominal`,
        /// 0 to 100 %; tables and CLF with it are written beside those without
        #[arg(long, value_name = "LIMITS", value_enum, num_args = 0..=1, require_equals = true, default_missing_value = "preferred")]
        limit: Option<LimitWord>,
        /// Put the look into the clips, and write tables and CLF of fix and look beside those of the fix
        #[arg(long)]
        with_look: bool,
        /// Write tables and CLF that begin before the clip's input transform too, for programs that take the clip as recorded
        #[arg(long)]
        with_input: bool,
        /// Directory for what the encoder was given, for checks
        #[arg(long, value_name = "DIR", hide = true)]
        encoder_input: Option<PathBuf>,
    },
    /// Read the delivered files again and hold them against what was promised
    ///
    /// With --against and --cut it is the finished programme that is read, made elsewhere in any coding and size: each shot is
    /// found in it by the list's record timecodes, checked by picture, and every person in it held against what was promised.
    Prove {
        /// The film file
        film: PathBuf,
        /// The finished programme
        #[arg(long, value_name = "MASTER", requires = "cut")]
        against: Option<PathBuf>,
        /// The cut list that says what lies where in it (.otio or .edl)
        #[arg(long, value_name = "LIST", requires = "against")]
        cut: Option<PathBuf>,
        /// Frames a second of an EDL; without it, those of the programme
        #[arg(long, value_name = "RATE", requires = "against")]
        rate: Option<String>,
        /// As JSON (docs/programme.schema.json), with --against
        #[arg(long, requires = "against")]
        json: bool,
    },
    /// Open the film's page in the browser
    ///
    /// The page is served on 127.0.0.1 alone, under an address with a random token, until the program is stopped (Ctrl-C). The
    /// first line printed is that address. A film that is not there yet is made by taking clips in on the page.
    Open {
        /// The film file
        film: PathBuf,
        /// The port; 0 takes a free one
        #[arg(long, default_value_t = 0)]
        port: u16,
        /// Print the address and open no browser
        #[arg(long)]
        no_browser: bool,
        /// Directory of a built page, to be served in place of the built-in one
        #[arg(long, value_name = "DIR", hide = true)]
        web_dir: Option<PathBuf>,
    },
    /// Write the report: one HTML file with charts, stills, numbers and proofs
    Report {
        /// The film file
        film: PathBuf,
        /// The file to write
        #[arg(long, value_name = "FILE")]
        to: PathBuf,
    },
    /// Print what a shell needs to complete this program's arguments
    #[command(after_help = "\
For this session of bash:
  source <(inkarnat completions bash)
For good, where your shell looks for them:
  inkarnat completions bash > ~/.local/share/bash-completion/completions/inkarnat
  inkarnat completions zsh > ~/.zfunc/_inkarnat
  inkarnat completions fish > ~/.config/fish/completions/inkarnat.fish")]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Write the manual pages: inkarnat.1 and one for each verb
    Manual {
        /// Directory for them, such as ~/.local/share/man/man1
        #[arg(long, value_name = "DIR")]
        to: PathBuf,
    },
    /// One clip's work in a process of its own
    #[command(name = "worker", hide = true)]
    Worker,
}

/// What is done about a tint that cameras share.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum TintWord {
    /// It is meant so
    Keep,
    /// It is a cast
    Correct,
}

impl TintWord {
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Keep => "keep",
            Self::Correct => "correct",
        }
    }
}

/// Limits of delivery.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum LimitWord {
    /// -5 to 105 %
    Preferred,
    /// 0 to 100 %
    Nominal,
}

impl LimitWord {
    pub(crate) const fn limit(self) -> LimitTo {
        match self {
            Self::Preferred => LimitTo::Preferred,
            Self::Nominal => LimitTo::Nominal,
        }
    }
}

/// An answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum YesNo {
    /// It is so
    Yes,
    /// It is not so
    No,
}

/// A codec by its name on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum CodecName {
    /// ProRes 422 HQ, 10 bits
    Prores,
    /// ProRes 4444, 10 bits, with transparency where the source has it
    #[value(name = "prores-4444")]
    Prores4444,
    /// DNxHR HQX, 10 bits
    DnxhrHqx,
    /// H.264 High 4:2:2, 10 bits
    H264,
    /// H.264 High 4:2:0, 8 bits, dithered: plays everywhere
    #[value(name = "h264-8bit")]
    H264EightBit,
    /// HEVC Main 4:2:2 10
    Hevc,
    /// Pictures, one a frame: PNG, 16 bits
    Png,
    /// Pictures, one a frame: TIFF, 16 bits
    Tiff,
    /// Pictures, one a frame: DPX, 10 bits
    Dpx,
    /// Pictures, one a frame: OpenEXR, half floats of linear light
    Exr,
    /// No clips: CDL and CLF files, tables and readings alone
    None,
}

impl CodecName {
    pub(crate) const fn codec(self) -> Option<Codec> {
        match self {
            Self::Prores => Some(Codec::ProresHq422),
            Self::Prores4444 => Some(Codec::Prores4444),
            Self::DnxhrHqx => Some(Codec::DnxhrHqx),
            Self::H264 => Some(Codec::H264High422Ten),
            Self::H264EightBit => Some(Codec::H264High),
            Self::Hevc => Some(Codec::Hevc422Ten),
            Self::Png => Some(Codec::Png16),
            Self::Tiff => Some(Codec::Tiff16),
            Self::Dpx => Some(Codec::Dpx10),
            Self::Exr => Some(Codec::ExrHalf),
            Self::None => None,
        }
    }
}
