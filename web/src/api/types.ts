// Made by `npm run types` from docs/openapi.json. Not to be edited.

export interface paths {
    "/api/aim": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Says where a person should read, and fixes. */
        post: operations["post_aim"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/aim/try": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Shows what an aim would do to some shots, without taking it: fixes and readings as they would be. */
        post: operations["post_aim_try"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/answer": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Answers an open question. */
        post: operations["post_answer"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/delivered": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** The files that were handed over. */
        get: operations["get_delivered"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/erase": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Erases all face data of the film for good. */
        post: operations["post_erase"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/events": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** Server-sent events: `job` with how the long work stands, `film` when the film has changed. */
        get: operations["get_events"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/film": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** The film in short: what the run charts are drawn from. */
        get: operations["get_film"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/job": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** How long work stands. */
        get: operations["get_job"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/limits": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** Every shot that was handed over, held against EBU R 103: source and delivered file. */
        get: operations["get_limits"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/people": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Names, merges and splits people. */
        post: operations["post_people"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/redo": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Takes the last decision that was taken back again, and fixes. */
        post: operations["post_redo"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/report": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** Everything about the film: the same as `inkarnat show FILM --json`. */
        get: operations["get_report"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** One shot in full. */
        get: operations["get_shots__shot_"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/choose": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Chooses the fix of the shot's setup. */
        post: operations["post_shots__shot__choose"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/constant": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Holds the fix of a shot the same in all frames, or lets it follow the light; and fixes. */
        post: operations["post_shots__shot__constant"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/copy": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Copies the fix of the shot's setup. */
        post: operations["post_shots__shot__copy"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/keep": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Leaves a shot as it is, or no longer. */
        post: operations["post_shots__shot__keep"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/note": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Writes a line of text to a shot. */
        post: operations["post_shots__shot__note"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/patch": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Draws a patch, reads it and fixes. */
        post: operations["post_shots__shot__patch"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/picture": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** A picture of one frame. */
        get: operations["get_shots__shot__picture"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/proxy": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** Frames for playing, as JPEG of the working signal: the number of frames, then the length of each, four bytes low byte first, then the frames. */
        get: operations["get_shots__shot__proxy"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/table": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** The 3D LUT that the fix is exported as over −2/27…10/9: nodes a side (0: nothing is changed), then R' G' B' of each node, red fastest; numbers of four bytes, low byte first. */
        get: operations["get_shots__shot__table"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/traces": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** Densities of one frame, before and then after, numbers of four bytes low byte first: waveform 360×240, parade R' G' B' 120×240 each, chroma plane 256×256 (Cb right, Cr up, ±0.55), histograms of R' G' B' Y' 240 each. Levels run from 110 % in the top row to −10 %; histograms from −10 %. */
        get: operations["get_shots__shot__traces"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/try": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Measures numbers without taking them. */
        post: operations["post_shots__shot__try"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/shots/{shot}/undraw": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Takes a drawn patch back, reads what is left and fixes. */
        post: operations["post_shots__shot__undraw"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/state": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        /** Whether there is a film yet, and where. */
        get: operations["get_state"];
        put?: never;
        post?: never;
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/stop": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Stops the long work; it goes on from there when started again. */
        post: operations["post_stop"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/undo": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Takes the last decision back, and fixes. */
        post: operations["post_undo"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
    "/api/work": {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        get?: never;
        put?: never;
        /** Starts long work; one at a time. */
        post: operations["post_work"];
        delete?: never;
        options?: never;
        head?: never;
        patch?: never;
        trace?: never;
    };
}
export type webhooks = Record<string, never>;
export interface components {
    schemas: {
        /** @description Where a person should read. */
        AimOrder: {
            /** @description As on the command line: `own`, `level:62-68,hue:120-126`, `like:SHOT`, or a preset. */
            aim: string;
            /** @description The name. */
            person: string;
        };
        /** @description An aim as it was set. */
        AimReport: {
            /** @description The point that was solved to; null without a fix. */
            centre?: components["schemas"]["CentreReport"] | null;
            /** @description Wanted hue, degrees: lower and upper end; null for the person's own. */
            hue_deg?: number[] | null;
            /** @description Wanted level, percent: lower and upper end; null for the person's own. */
            level_pct?: number[] | null;
            /** @description As it was typed. */
            text: string;
            /**
             * Format: double
             * @description Width in CIEDE2000 about the centre, for what is not a typed band.
             */
            width_de00: number;
        };
        /** @description What an aim would do, without being taken. */
        AimTried: {
            /** @description The aim that was tried, as it was typed. */
            aim: string;
            /** @description Shots that were not asked for and whose fix would be another one too: they are of the same setups, or carry their fix. */
            also: string[];
            /** @description Shots that were asked for and not solved in the time there was, by the film's numbers of them. */
            left: number[];
            /** @description The person. */
            person: string;
            /** @description The shots that were asked for, in the order in which they were. */
            shots: components["schemas"]["AimTriedShot"][];
        };
        /** @description What an aim would do in one shot. */
        AimTriedShot: {
            /**
             * Format: double
             * @description The centre of that aim here: hue in degrees.
             */
            aim_hue_deg?: number | null;
            /**
             * Format: double
             * @description The centre of that aim here: level in percent; null where nothing is solved to it.
             */
            aim_level_pct?: number | null;
            /** @description The source. */
            before?: components["schemas"]["Point"] | null;
            /** @description Whether the picture would be another one than it is now. */
            changes: boolean;
            /**
             * Format: double
             * @description CIEDE2000 from that centre in the source.
             */
            de00_before?: number | null;
            /**
             * Format: double
             * @description CIEDE2000 from that centre with the fix in force.
             */
            de00_now?: number | null;
            /**
             * Format: double
             * @description CIEDE2000 from that centre with the aim that was tried.
             */
            de00_tried?: number | null;
            /**
             * Format: int64
             * @description The film's number of the shot.
             */
            id: number;
            /** @description The limit that would stop the fix, where it would be short. */
            limit?: string | null;
            /** @description With the fix in force. */
            now?: components["schemas"]["Point"] | null;
            /** @description The other people of the shot who would move. */
            others: components["schemas"]["OtherMoved"][];
            /** @description Names the fix that was tried to `shots/{shot}/picture`, side `tried`. */
            picture: string;
            /** @description The reach that would be chosen; null where there would be no fix. */
            reach?: string | null;
            /** @description One sentence: why the fix would be what it is. */
            sentence: string;
            /** @description Its name. */
            shot: string;
            /** @description The state that it would be. */
            state: components["schemas"]["ShotState"];
            /** @description The state of this person here, now. */
            state_now: components["schemas"]["ShotState"];
            /** @description With the aim that was tried. */
            tried?: components["schemas"]["Point"] | null;
            /** @description Why it would be that, where it would be `unread`, `off aim` or `short`. */
            why?: string | null;
            /**
             * Format: double
             * @description Width of that aim, CIEDE2000.
             */
            width_de00: number;
        };
        /** @description An answer to an open question. */
        AnswerOrder: {
            /**
             * Format: uint64
             * @description Its number.
             */
            id: number;
            /** @description Yes or no. */
            yes: boolean;
        };
        /** @description An ASC CDL. */
        CdlReport: {
            /** @description Lift of R', G', B', signal units. */
            offset: number[];
            /** @description Exponent of R', G', B'. */
            power: number[];
            /**
             * Format: double
             * @description Distance from luma, as a factor.
             */
            saturation: number;
            /** @description Gain of R', G', B'. */
            slope: number[];
        };
        /** @description The point that was solved to. */
        CentreReport: {
            /**
             * Format: double
             * @description Hue, degrees; null where the skin has none to speak of.
             */
            hue_deg?: number | null;
            /** @description CIELAB L*, a*, b*. */
            lab: number[];
            /**
             * Format: double
             * @description Level, percent.
             */
            level_pct: number;
            /**
             * Format: double
             * @description Chroma magnitude over level.
             */
            sat_ratio: number;
        };
        /** @description A choice of fix. */
        ChooseOrder: {
            /** @description Which. */
            fix: components["schemas"]["FixChoice"];
        };
        /** @description Who chose a fix. */
        ChosenBy: "rule" | "editor";
        /** @description How clips are coded. */
        CodecChoice: "prores" | "prores4444" | "dnxhr_hqx" | "h264" | "h264_eight_bit" | "hevc" | "png" | "tiff" | "dpx" | "exr" | "none";
        /** @description Whether a fix may follow the light inside a shot. */
        ConstantOrder: {
            /** @description Whether it is the same in all frames, whatever the light does. */
            constant: boolean;
        };
        /** @description A fix to be copied. */
        CopyOrder: {
            /** @description Where to. */
            to: components["schemas"]["CopyTo"];
        };
        /** @description Whom a fix is copied to. */
        CopyTo: "scene";
        /** @description What a fix does to everything that is not the skin it was made for. */
        CostReport: {
            /**
             * Format: double
             * @description New clipped and crushed pixels, points of percent of the picture.
             */
            clip_growth_pct: number;
            /**
             * Format: double
             * @description Contrast of the picture, after over before.
             */
            contrast: number;
            /**
             * Format: double
             * @description Near-neutral surfaces after the fix, CIEDE2000 from neutral; null where none was found.
             */
            neutral_de00?: number | null;
            /**
             * Format: double
             * @description The same before the fix.
             */
            neutral_de00_before?: number | null;
            /**
             * Format: double
             * @description Noise gain in the darkest quarter, after over before.
             */
            noise_gain: number;
            /**
             * Format: double
             * @description Median move of what is not skin, CIEDE2000 beyond the exposure change that was asked for.
             */
            outside_de00_median: number;
            /**
             * Format: double
             * @description 95th percentile of the same.
             */
            outside_de00_p95: number;
            /**
             * Format: double
             * @description New clipped and crushed pixels of skin, percent of the skin.
             */
            skin_clip_growth_pct: number;
        };
        /** @description The cut that is in the film. */
        CutReport: {
            /**
             * Format: int64
             * @description Its number; later ones are larger.
             */
            cut: number;
            /** @description The list or picture that it came from. */
            origin: string;
        };
        /** @description A file that was handed over. */
        Delivered: {
            /**
             * Format: uint64
             * @description Bytes, as it was written.
             */
            bytes: number;
            /** @description `clip`, `cdl`, `lut`, `readings` or `report`. */
            kind: string;
            /** @description Where it is. */
            path: string;
            /** @description The shot that it shows, for a clip. */
            shot?: string | null;
            /** @description Whether it is there as it was written. */
            there: boolean;
        };
        /** @description That it was done. */
        Done: {
            /** @description What was done, in a sentence. */
            done: string;
        };
        /** @description A found face of one person in one shot. */
        FaceReport: {
            /**
             * Format: double
             * @description Share of forehead, cheek and nose that is unclipped skin of one colour, 0 to 1.
             */
            coverage: number;
            /**
             * Format: uint64
             * @description How many stretches it was found in, each followed by itself.
             */
            faces: number;
            /** @description The side that is read, the person's own: `right` or `left`; null where neither can be. */
            key_side?: string | null;
            /**
             * Format: double
             * @description Display light (BT.1886) of that side over that of the other, median over the shot; null where
             *     no frame shows both.
             */
            key_to_fill?: number | null;
            /** @description Frames in which the face is lost, and why. */
            lost: components["schemas"]["LostReport"][];
            /** @description Present where the two sides are lit by two colours. */
            two_lights?: components["schemas"]["TwoLightsReport"] | null;
            /** @description Why it has no reading; null where it has. */
            unread?: string | null;
            /**
             * Format: double
             * @description Median width, cheek to cheek, pixels.
             */
            width_px: number;
        };
        /** @description A face that was found, and where it lies. */
        FaceView: {
            /** @description Its edge in each of them, clockwise: x and y one after the other, fractions of picture width and height. */
            edges: number[][];
            /** @description Source frames in which it is held. */
            frames: number[];
            /**
             * Format: int64
             * @description The film's number of it.
             */
            id: number;
            /** @description Whose it is. */
            person: string;
        };
        /** @description Why there is no answer. */
        Failure: {
            /** @description What was given, what was expected, what to do. */
            error: string;
        };
        /** @description A person of the film. */
        FilmPerson: {
            /** @description The aim as it was typed. */
            aim: string;
            /** @description The complexion that the editor set. */
            complexion?: string | null;
            /** @description The name. */
            person: string;
            /**
             * Format: uint
             * @description Shots in which they were read or drawn.
             */
            shots: number;
        };
        /** @description How a film stands. */
        FilmReport: {
            /** @description The cut that is in the film; null where clips were taken in whole. */
            cut?: components["schemas"]["CutReport"] | null;
            /** @description Name of the film. */
            film: string;
            /** @description The history of decisions. */
            history: components["schemas"]["HistoryReport"];
            /** @description Spans of finished pictures that are no shot. */
            left_out: components["schemas"]["LeftOutReport"][];
            /** @description Shots of earlier cuts that are not in this one; their decisions come back with them. */
            lost: string[];
            /**
             * @description Finished programmes that were held against the film (`prove --against`), the earliest first.
             * @default []
             */
            programmes: components["schemas"]["ProgrammeReport"][];
            /** @description Changes that the picture itself suggests and nobody has asked for. */
            proposals: components["schemas"]["Proposal"][];
            /** @description Doubts that only the editor can settle. */
            questions: components["schemas"]["Question"][];
            /** @description The scenes in film order. */
            scenes: components["schemas"]["SceneReport"][];
            /**
             * Format: uint32
             * @description Version of this form.
             */
            schema: number;
            /** @description The setups, in the order of making; every shot is in exactly one. */
            setups: components["schemas"]["SetupReport"][];
            /** @description The shots in film order. */
            shots: components["schemas"]["ShotReport"][];
            /**
             * Format: double
             * @description The skin-tone line that `off_line_deg` counts from, degrees on the Cb/Cr plane.
             */
            skin_tone_line_deg: number;
            /** @description What was handed over, oldest first. */
            versions: components["schemas"]["VersionReport"][];
            /** @description What the numbers of the working signal mean. */
            working_space: components["schemas"]["SpaceReport"];
        };
        /** @description The film in short, or that there is none yet. */
        FilmState: {
            /** @description Whether it is there. */
            exists: boolean;
            /** @description Where the film file is, or will be. */
            file: string;
            /** @description Where a hand-over goes unless another directory is named. */
            handover_directory: string;
            /** @description Its name, or what it will be. */
            name: string;
        };
        /** @description Which fix a setup gets. */
        FixChoice: "rule" | "picture" | "mids" | "skin" | {
            numbers: components["schemas"]["Numbers"];
        };
        /** @description The fix of a shot. */
        FixReport: {
            /** @description The limits that a fix set by hand goes beyond; none for a solved one. */
            beyond: string[];
            /** @description The fix as one CDL, or the nearest one. */
            cdl: components["schemas"]["CdlReport"];
            /** @description Whether that CDL is the fix itself. */
            cdl_exact: boolean;
            /**
             * Format: double
             * @description What the nearest CDL leaves on skin, CIEDE2000; 0 where it is exact.
             */
            cdl_skin_de00: number;
            /** @description Who chose it. */
            chosen_by: components["schemas"]["ChosenBy"];
            /**
             * @description Whether one fix serves all frames of the shot. Where it does not, `ops` is what is done to every frame after its light
             *     was brought to that of one of them, and `cdl` what is nearest to that.
             */
            constant: boolean;
            /** @description What the chosen reach costs. */
            cost: components["schemas"]["CostReport"];
            /**
             * @description Where the fix follows the light: the whole fix as one CDL at some source frames, monotone cubics between (as in
             *     `keyframes/SHOT.json`), where it is one; else what comes before `ops`. Empty where the fix is constant.
             */
            keyframes: components["schemas"]["KeyframeReport"][];
            /** @description Whether each of `keyframes` is the whole fix, and not only what comes before `ops`. */
            keyframes_whole: boolean;
            /** @description What the light does inside the shot and what is done about it, in one sentence; null where it is steady. */
            light?: string | null;
            /** @description The limit that stopped it, where the shot is short. */
            limit?: string | null;
            /** @description The operations, in order; none: the picture stays exactly as it is. */
            ops: unknown[];
            /** @description The reach that was chosen: `picture`, `mids`, `skin`, or `hand` where the operations were set by hand. */
            reach: string;
            /** @description All three reaches. */
            reaches: components["schemas"]["ReachesReport"];
            /** @description Why. */
            why: string;
        };
        /** @description The history of decisions. */
        HistoryReport: {
            /**
             * Format: uint
             * @description Decisions in all, those taken back too.
             */
            decisions: number;
            /** @description What `redo` would take again. */
            redo?: string | null;
            /** @description What `undo` would take back. */
            undo?: string | null;
        };
        /** @description One thing that happened. */
        JobLine: {
            /** @description Whether it is something that failed. */
            failed: boolean;
            /** @description The shot or clip. */
            shot: string;
            /** @description One line. */
            text: string;
        };
        /** @description How a job ended. */
        JobOutcome: "done" | "stopped" | "failed";
        /** @description How long work stands. */
        JobView: {
            /** @description Why it could not go on. */
            error?: string | null;
            /**
             * Format: uint64
             * @description Frames of this shot.
             */
            frames: number;
            /**
             * Format: uint64
             * @description Frames of this shot that are done.
             */
            frames_done: number;
            /** @description What happened, newest last; the latest [`LINES`] of it. */
            lines: components["schemas"]["JobLine"][];
            /**
             * Format: uint64
             * @description Counts the jobs since the server began; 0: there was none.
             */
            number: number;
            /** @description How it ended. */
            outcome?: components["schemas"]["JobOutcome"] | null;
            /** @description What could not be done for single shots, one line each. */
            problems: string[];
            /** @description Whether it is running. */
            running: boolean;
            /**
             * Format: double
             * @description Seconds since it began.
             */
            seconds: number;
            /**
             * Format: double
             * @description Seconds that this stage will still take, as it goes now; null before that can be said.
             */
            seconds_left?: number | null;
            /** @description The shot or clip that it is being done to. */
            shot: string;
            /**
             * Format: uint64
             * @description Which of how many shots, from 1.
             */
            shot_number: number;
            /**
             * Format: uint64
             * @description How many shots.
             */
            shots: number;
            /** @description What is being done now: `taking in`, `reading`, `fixing`, `rendering`, `proving`. */
            stage: string;
            /** @description What it is, in words. */
            what: string;
        };
        /** @description Leave a shot as it is, or no longer. */
        KeepOrder: {
            /** @description Whether to keep it. */
            kept: boolean;
        };
        /** @description Numbers in place of those of a key on skin; what is null stays. */
        KeyNumbers: {
            /** @description What is done under it. */
            cdl?: components["schemas"]["CdlReport"] | null;
            /**
             * Format: uint
             * @description Which of the keys of the fix, in their order, from 0.
             */
            key: number;
            /** @description Where it lies. */
            windows?: components["schemas"]["KeyWindows"] | null;
        };
        /** @description Where a key on skin lies. */
        KeyWindows: {
            /** @description Hue, degrees on the Cb/Cr plane. */
            hue: components["schemas"]["WindowNumbers"];
            /** @description Luma, 1 = reference white. */
            level: components["schemas"]["WindowNumbers"];
            /** @description Chroma magnitude, axes ±0.5. */
            saturation: components["schemas"]["WindowNumbers"];
        };
        /** @description A CDL at a source frame. */
        KeyframeReport: {
            /** @description What holds there. */
            cdl: components["schemas"]["CdlReport"];
            /**
             * Format: uint64
             * @description The source frame.
             */
            frame: number;
        };
        /** @description What is left out of every reading and statistic. */
        LeftOutReport: {
            /**
             * @description The part of the picture, in fractions of its width and height: left, top, right, bottom; null
             *     for the whole.
             */
            area?: number[] | null;
            /**
             * Format: uint64
             * @description First source frame.
             */
            in_frame: number;
            /**
             * Format: uint64
             * @description The source frame after the last.
             */
            out_frame: number;
            /**
             * @description `bars`, `leader`, `slate`, `black`, `dissolve`, `fade in`, `fade out`, `flash`, `matte` or
             *     `title`.
             */
            what: string;
        };
        /** @description Limits of delivery for R', G' and B' (EBU R 103). */
        LimitChoice: "preferred" | "nominal";
        /** @description What a limiter did to a clip: luma and hue kept, saturation given up (ITU-R BT.601-7 clause 2.5.5). */
        LimitedReport: {
            /**
             * Format: double
             * @description Pixels that were changed, percent of all pixels of the clip.
             */
            changed_pct: number;
            /**
             * Format: double
             * @description The highest R', G', B', percent.
             */
            high_pct: number;
            /**
             * Format: double
             * @description The most saturation that a pixel with a hue (chroma of at least 0.015) gave up, percent.
             */
            largest_loss_pct: number;
            /**
             * Format: double
             * @description The lowest R', G', B', percent.
             */
            low_pct: number;
        };
        /**
         * @description A shot held against the limits of delivery: EBU R 103 v3.0, R', G', B' and luma of every frame.
         *
         *     A frame is over a limit when more than 1 % of its area is, behind the measuring filter
         *     [1 2 3 4 3 2 1]/16 across and [1 2 1]/4 down (the filter is yet to be verified).
         */
        LimitsReport: {
            /**
             * Format: uint64
             * @description Frames looked at.
             */
            frames: number;
            /**
             * Format: uint64
             * @description Frames over the nominal limits (0–100 %), to which graded material should keep closely.
             */
            over_nominal: number;
            /**
             * Format: uint64
             * @description Frames over the preferred limits (−5–105 %): gamut errors.
             */
            over_preferred: number;
            /**
             * Format: uint64
             * @description Frames over the total limits (the codes that may carry video).
             */
            over_total: number;
            /** @description The frames furthest out, worst first; none where nothing is outside. */
            worst: components["schemas"]["WorstLimitReport"][];
        };
        /** @description Source frames in which a face is lost, half-open. */
        LostReport: {
            /**
             * Format: uint64
             * @description The first.
             */
            in_frame: number;
            /**
             * Format: uint64
             * @description The one after the last.
             */
            out_frame: number;
            /** @description Why, in the first of them. */
            why: string;
        };
        /** @description What the editor writes to a shot. */
        NoteOrder: {
            /** @description One line of text; an empty one takes the note away. */
            text: string;
        };
        /** @description Nothing is asked beside the address. */
        Nothing: Record<string, never>;
        /** @description Numbers in place of those of the fix in force. */
        Numbers: {
            /** @description In place of its first CDL; null leaves that. */
            cdl?: components["schemas"]["CdlReport"] | null;
            /**
             * @description A person on whose skin one more key is laid, after everything else that the fix does: around the skin as it was read, with
             *     gains that bring it the rest of the way to the person's aim.
             */
            key_on?: string | null;
            /** @description In place of those of keys on skin; keys that are not named stay. */
            keys?: components["schemas"]["KeyNumbers"][];
            /**
             * Format: uint
             * @description A key on skin that is taken away, counted as in `keys`.
             */
            without_key?: number | null;
        };
        /** @description Somebody else who would move with the fix. */
        OtherMoved: {
            /**
             * Format: double
             * @description CIEDE2000 between now and then.
             */
            de00: number;
            /**
             * Format: double
             * @description Change of hue, degrees; null where there is no hue before or after it.
             */
            hue_deg?: number | null;
            /**
             * Format: double
             * @description Change of level, percent of reference white.
             */
            level_pct: number;
            /** @description The name. */
            person: string;
            /** @description The state that it would be. */
            state: components["schemas"]["ShotState"];
            /** @description The state now. */
            state_now: components["schemas"]["ShotState"];
        };
        /** @description An outline in fractions of picture width and height. */
        OutlineShape: {
            ellipse: {
                /** @description Centre (x, y). */
                centre: number[];
                /** @description Half width and half height. */
                radii: number[];
            };
        } | {
            polygon: number[][];
        };
        /** @description The film in short. */
        Overview: {
            /** @description The film file's path. */
            file: string;
            /** @description Name of the film. */
            film: string;
            /** @description Whether a look lies over the fix of some shot. */
            has_look: boolean;
            /** @description Whether a finished picture is in the film, which can be handed over whole. */
            has_picture: boolean;
            /** @description What can be taken back and again. */
            history: components["schemas"]["HistoryReport"];
            /** @description Everybody, in the order in which they first appear. */
            people: components["schemas"]["FilmPerson"][];
            /** @description Finished programmes that were held against the film, the latest first. */
            programmes: components["schemas"]["ProgrammeReport"][];
            /** @description Changes that the picture itself suggests. */
            proposals: components["schemas"]["Proposal"][];
            /** @description Where published facial spectra lie: lowest and highest hue, degrees. */
            published_band_deg: number[];
            /** @description Doubts that only the editor can settle. */
            questions: components["schemas"]["Question"][];
            /** @description The shots in film order. */
            shots: components["schemas"]["OverviewShot"][];
            /**
             * Format: double
             * @description The skin-tone line, degrees on the Cb/Cr plane.
             */
            skin_tone_line_deg: number;
            /** @description What was handed over, the latest first. */
            versions: components["schemas"]["VersionReport"][];
            /** @description What the numbers of the working signal mean. */
            working_space: components["schemas"]["SpaceReport"];
        };
        /** @description A shot in short. */
        OverviewShot: {
            /**
             * Format: int64
             * @description The film's number of it: what addresses of the page name.
             */
            id: number;
            /**
             * Format: uint64
             * @description First source frame.
             */
            in_frame: number;
            /**
             * Format: uint64
             * @description The source frame after the last.
             */
            out_frame: number;
            /** @description Everybody who was read or drawn. */
            people: components["schemas"]["PersonPoint"][];
            /**
             * Format: double
             * @description Frames a second; the mean where it varies.
             */
            rate: number;
            /** @description The scene. */
            scene: string;
            /** @description One sentence: why the fix is what it is, or what failed. */
            sentence: string;
            /** @description The setup that carries the fix. */
            setup: string;
            /** @description Its name. */
            shot: string;
            /** @description Columns and rows as they are shown: pixels taken as square. */
            size: number[];
            /** @description File name of its source. */
            source: string;
            /** @description The state of the whole shot. */
            state: components["schemas"]["ShotState"];
            /** @description Timecode of the first frame. */
            timecode_in?: string | null;
        };
        /** @description A patch to be drawn. */
        PatchOrder: {
            /**
             * Format: uint64
             * @description The source frame.
             */
            frame: number;
            /** @description Whose skin it is; a name that is not known yet is a new person. */
            person: string;
            /** @description The outline. */
            shape: components["schemas"]["OutlineShape"];
        };
        /** @description A patch, and where it lies. */
        PatchView: {
            /**
             * Format: uint64
             * @description First frame of `poses`.
             */
            first_frame: number;
            /**
             * Format: uint64
             * @description The source frame that it was drawn on.
             */
            frame: number;
            /**
             * Format: int64
             * @description The film's number of it.
             */
            id: number;
            /** @description Whose skin it is. */
            person: string;
            /**
             * @description Where it lies in each frame from there on: a, b, tx, ty of x' = a·x − b·y + tx, y' = b·x + a·y + ty in
             *     picture widths on both axes; null where it is lost. Empty before it was followed.
             */
            poses: (number[] | null)[];
            /** @description Its outline there. */
            shape: components["schemas"]["OutlineShape"];
        };
        /** @description What the editor says about people, in the words of the command line. */
        PeopleOrder: {
            name: string;
        } | {
            merge: string;
        } | {
            split: string;
        } | {
            complexion: string;
        };
        /** @description One person in one shot, in short. */
        PersonPoint: {
            /** @description With the fix. */
            after?: components["schemas"]["Point"] | null;
            /**
             * Format: double
             * @description The centre of the aim: hue in degrees.
             */
            aim_hue_deg?: number | null;
            /**
             * Format: double
             * @description The centre of the aim: level in percent; null without a fix.
             */
            aim_level_pct?: number | null;
            /** @description The source. */
            before?: components["schemas"]["Point"] | null;
            /**
             * Format: double
             * @description CIEDE2000 from the aim's centre after the fix.
             */
            de00_after?: number | null;
            /**
             * Format: double
             * @description CIEDE2000 from the aim's centre in the source.
             */
            de00_before?: number | null;
            /** @description A typed band of hue, degrees. */
            hue_band_deg?: number[] | null;
            /** @description A typed band of level, percent. */
            level_band_pct?: number[] | null;
            /** @description The name. */
            person: string;
            /** @description The delivered file. */
            proof?: components["schemas"]["Point"] | null;
            /** @description The state of this person here. */
            state: components["schemas"]["ShotState"];
            /** @description Why it is that, where it is `unread`, `off aim` or `short`. */
            why?: string | null;
            /**
             * Format: double
             * @description Width of the aim, CIEDE2000.
             */
            width_de00: number;
            /**
             * Format: double
             * @description What that width is along hue alone, degrees either way; null without a fix or a hue.
             */
            width_hue_deg?: number | null;
            /**
             * Format: double
             * @description What that width is along level alone, percent either way; null without a fix.
             */
            width_level_pct?: number | null;
        };
        /** @description One person in one shot. */
        PersonReport: {
            /** @description The source with the fix: read from its pixels once proved, until then as the solver found it. */
            after?: components["schemas"]["ReadingReport"] | null;
            /** @description Where this person should read. */
            aim: components["schemas"]["AimReport"];
            /**
             * Format: double
             * @description CIEDE2000 from the aim's centre after the fix; null without a fix.
             */
            aim_de00_after?: number | null;
            /**
             * Format: double
             * @description CIEDE2000 from the aim's centre in the source; null without a fix.
             */
            aim_de00_before?: number | null;
            /** @description The source. */
            before?: components["schemas"]["ReadingReport"] | null;
            /** @description The complexion that the editor set; never set otherwise. */
            complexion?: string | null;
            /** @description The face that was found; null without one. */
            face?: components["schemas"]["FaceReport"] | null;
            /** @description Whether a drawn patch is read; otherwise the found face is. */
            patch: boolean;
            /** @description The name. */
            person: string;
            /** @description The delivered file, read again. */
            proof?: components["schemas"]["ReadingReport"] | null;
            /** @description The state of this person here. */
            state: components["schemas"]["ShotState"];
            /** @description Why it is that, in a plain sentence, where it is `unread`, `off aim` or `short`; else null. */
            why?: string | null;
        };
        /** @description Readings of one person through time. */
        PersonSeries: {
            /** @description With the fix: each frame's reading taken through the operations, or as it was read once the shot is proved. */
            after: components["schemas"]["Series"];
            /** @description The source. */
            before: components["schemas"]["Series"];
            /** @description The name. */
            person: string;
        };
        /** @description A reading in short. Uncertainties are standard ones (k = 1). */
        Point: {
            /**
             * Format: double
             * @description Change of hue over the shot, degrees.
             */
            drift_hue_deg?: number | null;
            /**
             * Format: double
             * @description Change of level over the shot, percent of reference white.
             */
            drift_level_pct?: number | null;
            /**
             * Format: double
             * @description Hue, degrees.
             */
            hue_deg?: number | null;
            /**
             * Format: double
             * @description Its uncertainty.
             */
            hue_deg_u?: number | null;
            /**
             * Format: double
             * @description Level, percent.
             */
            level_pct: number;
            /**
             * Format: double
             * @description Its uncertainty.
             */
            level_pct_u: number;
        };
        /** @description How a person reads in a shot of a finished programme. */
        ProgrammePerson: {
            /**
             * Format: double
             * @description CIEDE2000 between what was promised and the programme; `None` where one has no reading.
             */
            de00?: number | null;
            /**
             * Format: double
             * @description CIEDE2000 between the uncorrected source and the programme.
             */
            from_source_de00?: number | null;
            /**
             * Format: double
             * @description Hue in the programme, degrees.
             */
            hue_deg?: number | null;
            /**
             * Format: double
             * @description Level in the programme, percent of reference white.
             */
            level_pct?: number | null;
            /** @description The name. */
            person: string;
        };
        /** @description How a finished programme stands against the film. */
        ProgrammeProof: {
            /** @description What is wrong with the programme or the list as a whole, one line each. */
            faults: string[];
            /** @description The cut list. */
            list: string;
            /** @description What was assumed, one line each. */
            notes: string[];
            /** @description Whether every shot passed. */
            passed: boolean;
            /** @description The programme. */
            programme: string;
            /**
             * Format: uint32
             * @description Version of this form.
             */
            schema: number;
            /** @description The shots of the list, in order. */
            shots: components["schemas"]["ProgrammeShot"][];
            /**
             * Format: double
             * @description How far a person may be from what was promised, CIEDE2000.
             */
            tolerance_de00: number;
        };
        /** @description A finished programme that was held against the film. */
        ProgrammeReport: {
            /**
             * Format: int64
             * @description When: seconds since 1970-01-01 UTC.
             */
            at_s: number;
            /** @description What came of it. */
            proof: components["schemas"]["ProgrammeProof"];
        };
        /** @description How a shot stands in a finished programme. */
        ProgrammeShot: {
            /** @description Number of the event in the list. */
            event: string;
            /** @description What is at fault, one line each. */
            faults: string[];
            /**
             * Format: uint64
             * @description Its frames in the programme.
             */
            frames: number;
            /**
             * Format: uint64
             * @description Frames that were read.
             */
            frames_read: number;
            /**
             * Format: double
             * @description Correlation of the pictures' luma, −1 to 1; `None` where it was not looked for.
             */
            likeness?: number | null;
            /**
             * Format: int64
             * @description Frames by which it lies later than listed; `None` where it was not found.
             */
            offset_frames?: number | null;
            /** @description Whether nothing is at fault. */
            passed: boolean;
            /** @description Everybody who was read. */
            people: components["schemas"]["ProgrammePerson"][];
            /** @description Record timecode of its first frame in the list. */
            record: string;
            /** @description The shot; `None` where the film has none of it. */
            shot?: string | null;
        };
        /** @description The proof of a shot. */
        ProofReport: {
            /**
             * Format: double
             * @description The largest one found; null where nobody was read.
             */
            de00?: number | null;
            /** @description What does not agree, one line each. */
            faults: string[];
            /** @description The file that was read. */
            file: string;
            /** @description The delivered file held against EBU R 103. */
            limits_after?: components["schemas"]["LimitsReport"] | null;
            /** @description The source held against EBU R 103; null where it was not. */
            limits_before?: components["schemas"]["LimitsReport"] | null;
            /** @description Whether it agrees with what was promised. */
            passed: boolean;
            /**
             * Format: double
             * @description Allowed CIEDE2000 between `after` and `proof`.
             */
            tolerance_de00: number;
        };
        /** @description A change that the picture itself suggests. */
        Proposal: {
            /** @description The scene that it is about, or the setup where no scenes were told apart. */
            about: string;
            /**
             * Format: uint64
             * @description Its number: `inkarnat answer FILM ID yes` takes it, `no` lets things stay.
             */
            id: number;
            /**
             * Format: double
             * @description Change of exposure in stops, + = brighter.
             */
            stops: number;
            /**
             * Format: double
             * @description Standard uncertainty of it (k = 1).
             */
            stops_u: number;
            /** @description What is proposed, with its number and its reason. */
            text: string;
        };
        /** @description A doubt that only the editor can settle, by `inkarnat answer FILM ID yes|no`. */
        Question: {
            /**
             * Format: uint64
             * @description Its number: stays the same as long as it is open.
             */
            id: number;
            /**
             * @description What is in doubt: `same` (are two people one?), `picture` (is a face a picture?), `skin` (is
             *     it painted or a mask?), `tint` (is the tint that cameras of a scene share meant so?).
             */
            kind: string;
            /** @description The people concerned. */
            people: string[];
            /** @description The shot concerned, if one is. */
            shot?: string | null;
            /** @description What is asked. */
            text: string;
        };
        /** @description One reach: how far it gets and what it costs. */
        ReachReport: {
            /** @description What it costs. */
            cost: components["schemas"]["CostReport"];
            /** @description One sentence about it. */
            explain: string;
            /** @description The limit that stopped it, where it is short. */
            limit?: string | null;
            /** @description The operations, in order. */
            ops: unknown[];
            /** @description On aim or short. */
            state: components["schemas"]["ShotState"];
        };
        /** @description All three reaches. */
        ReachesReport: {
            /** @description Mid-tones. */
            mids: components["schemas"]["ReachReport"];
            /** @description Balance of the whole frame. */
            picture: components["schemas"]["ReachReport"];
            /** @description Skin alone; null where no key was laid on it. */
            skin?: components["schemas"]["ReachReport"] | null;
            /** @description Why no key was laid on skin, in a plain sentence; null where one was. */
            skin_not_solved?: string | null;
        };
        /** @description A reading of a shot. Uncertainties are standard ones (k = 1). */
        ReadingReport: {
            /**
             * Format: double
             * @description Share of the patch that is clipped in the source and left out, percent.
             */
            clipped_pct: number;
            /**
             * Format: double
             * @description The level as a 10-bit narrow-range code (64 = 0 %, 940 = 100 %), not rounded.
             */
            code10: number;
            /**
             * Format: double
             * @description 0 to 1: a rule of weight, not a probability.
             */
            confidence: number;
            /**
             * Format: double
             * @description Change of hue from the first to the last frame, degrees.
             */
            drift_hue_deg?: number | null;
            /**
             * Format: double
             * @description Change of level from the first to the last frame, percent of reference white; null where it
             *     was not read frame by frame.
             */
            drift_level_pct?: number | null;
            /**
             * Format: uint64
             * @description Frames left out because the patch was lost or unreadable.
             */
            frames_lost?: number | null;
            /**
             * Format: uint64
             * @description Frames read; null where it was not read frame by frame.
             */
            frames_read?: number | null;
            /**
             * Format: double
             * @description Hue, degrees on the Cb/Cr plane counter-clockwise from +Cb; null below the chroma floor.
             */
            hue_deg?: number | null;
            /**
             * Format: double
             * @description Its uncertainty.
             */
            hue_deg_u?: number | null;
            /** @description CIELAB L*, a*, b* (D65, BT.1886 display). */
            lab: number[];
            /**
             * Format: double
             * @description Level Y', percent of reference white.
             */
            level_pct: number;
            /**
             * Format: double
             * @description Its uncertainty.
             */
            level_pct_u: number;
            /**
             * Format: double
             * @description Signed arc from the skin-tone line: positive toward yellow/green, negative toward red/magenta.
             */
            off_line_deg?: number | null;
            /**
             * Format: double
             * @description Chroma magnitude over level, both as signal; null at black.
             */
            sat_ratio?: number | null;
        };
        /** @description What the report is drawn from. */
        ReportData: {
            /** @description The film in short. */
            film: components["schemas"]["Overview"];
            /** @description Every shot in full, without pixels of skin and poses. */
            shots: components["schemas"]["ReportShot"][];
            /** @description The version of the program. */
            version: string;
        };
        /** @description A shot of the report. */
        ReportShot: {
            /** @description After. */
            after?: string | null;
            /** @description Before, as a data address; null where it could not be decoded. */
            before?: string | null;
            /**
             * Format: uint64
             * @description The source frame of the stills.
             */
            frame: number;
            /** @description Everything about it. */
            view: components["schemas"]["ShotView"];
        };
        /** @description A scene: what is meant to look alike. */
        SceneReport: {
            /**
             * Format: double
             * @description The change of exposure that was accepted, in stops; 0: declined; null: nothing was said.
             */
            exposure_stops?: number | null;
            /** @description Its name. */
            scene: string;
            /** @description Its setups. */
            setups: string[];
            /** @description The tint that its cameras share and that is kept; null: they share none, or it is corrected. */
            tint?: components["schemas"]["TintReport"] | null;
        };
        /** @description Readings by frame, in lists of one length. */
        Series: {
            /** @description Source frames. */
            frames: number[];
            /** @description Hue, degrees; null below the chroma floor. */
            hue_deg: (number | null)[];
            /** @description Level, percent. */
            level_pct: number[];
        };
        /** @description A setup: what carries one fix. */
        SetupReport: {
            /**
             * Format: double
             * @description The change of exposure that was accepted for it alone, in stops; 0: declined; null: nothing was said.
             */
            exposure_stops?: number | null;
            /** @description Its scene. */
            scene: string;
            /** @description Its name. */
            setup: string;
            /** @description Its shots in film order. */
            shots: string[];
        };
        /** @description A delivered clip and its source held against the limits of delivery. */
        ShotLimits: {
            /** @description The delivered file. */
            after?: components["schemas"]["LimitsReport"] | null;
            /** @description The source; null where it was not proved since the last change. */
            before?: components["schemas"]["LimitsReport"] | null;
            /**
             * Format: int64
             * @description The film's number of the shot.
             */
            id: number;
            /** @description What a limiter did to the clip; null where none was asked for. */
            limited?: components["schemas"]["LimitedReport"] | null;
            /** @description Its name. */
            shot: string;
        };
        /** @description How a shot stands. */
        ShotReport: {
            /** @description Why the last step on this shot failed; null where none did. */
            failure?: string | null;
            /** @description The fix; null where there is none. */
            fix?: components["schemas"]["FixReport"] | null;
            /**
             * Format: uint64
             * @description First source frame.
             */
            in_frame: number;
            /**
             * @description The file that brings the clip's own signal to the working signal; null where it is that already.
             * @default null
             */
            input: string | null;
            /** @description Spans and parts of the picture that are left out of every reading and statistic. */
            left_out: components["schemas"]["LeftOutReport"][];
            /** @description What a limiter did to the clip that was handed over; null where none was asked for. */
            limited?: components["schemas"]["LimitedReport"] | null;
            /**
             * @description The file of the look over the fix, through which readings are seen; null without one.
             * @default null
             */
            look: string | null;
            /** @description The editor's note; null where there is none. */
            note?: string | null;
            /** @description What was assumed or noticed, one line each. */
            notes: string[];
            /**
             * Format: uint64
             * @description The source frame after the last.
             */
            out_frame: number;
            /** @description Everybody who was read. */
            people: components["schemas"]["PersonReport"][];
            /** @description The proof; null where nothing was proved since the last change. */
            proof?: components["schemas"]["ProofReport"] | null;
            /** @description The scene. */
            scene: string;
            /** @description The setup that carries the fix. */
            setup: string;
            /** @description Name of the shot. */
            shot: string;
            /** @description The source clip's path, as it was given. */
            source: string;
            /** @description The state of the whole shot: that of the person worst off. */
            state: components["schemas"]["ShotState"];
            /** @description Timecode of the first frame; null where the source has none. */
            timecode_in?: string | null;
            /** @description Where the cut uses it; null for a clip taken in whole. */
            used?: components["schemas"]["UsedReport"] | null;
            /** @description Why nobody is read in it, in a plain sentence, where it is `unread`; else null. */
            why_unread?: string | null;
        };
        /** @description The state of a shot or of a person in it. */
        ShotState: "unread" | "off aim" | "on aim" | "kept" | "short" | "proved";
        /** @description One shot in full. */
        ShotView: {
            /** @description The first CDL of the fix in force, to be moved by hand; neutral where there is none. */
            by_hand: number[][];
            /** @description Every face that was found, where it lies. */
            faces: components["schemas"]["FaceView"][];
            /** @description Whether the editor holds the fix constant, whatever the light does. */
            held_constant: boolean;
            /**
             * Format: int64
             * @description The film's number of it.
             */
            id: number;
            /**
             * @description Where the fix follows the light: the gains of R', G', B' before everything else that it does, for each source frame
             *     from the shot's first. Empty where the fix is constant.
             */
            light: number[][];
            /**
             * Format: uint64
             * @description Where the light changes and could be followed: the source frame whose light the others are brought to.
             */
            light_reference?: number | null;
            /** @description Every patch, where it lies in each frame. */
            patches: components["schemas"]["PatchView"][];
            /**
             * Format: double
             * @description Frames a second; the mean where it varies.
             */
            rate: number;
            /** @description Everything that `show --json` says of it. */
            report: components["schemas"]["ShotReport"];
            /** @description The other shots that carry the same fix. */
            same_setup: string[];
            /** @description Readings through time. */
            series: components["schemas"]["PersonSeries"][];
            /** @description Columns and rows as they are shown: pixels taken as square. */
            shown_size: number[];
            /** @description Columns and rows as decoded. */
            size: number[];
            /** @description Pixels of skin, before and after. */
            skin: components["schemas"]["SkinPixels"][];
        };
        /** @description Pixels of one person's skin over the shot, a thinned sample: Y', Cb, Cr as signal. */
        SkinPixels: {
            /** @description With the fix. */
            after: number[][];
            /** @description The source. */
            before: number[][];
            /** @description The name. */
            person: string;
        };
        /** @description A working space. */
        SpaceReport: {
            /** @description Luma coefficients, by their standard. */
            coefficients: string;
            /** @description Primaries, by their standard. */
            primaries: string;
        };
        /** @description A tint that cameras of a scene share. */
        TintReport: {
            /** @description Setups that are brought to it. */
            brought: string[];
            /** @description ln R/G and ln B/G of a white in it, linear light. */
            cast: number[];
            /** @description Whether the editor has said so; else it is asked. */
            decided: boolean;
            /** @description Setups that were shot in it and are left as they were shot. */
            kept: string[];
        };
        /** @description What numbers that were tried do, measured as a solved fix is. */
        Tried: {
            /** @description The limits that it goes beyond. */
            beyond: string[];
            /** @description What it costs. */
            cost: components["schemas"]["CostReport"];
            /** @description Everybody. */
            people: components["schemas"]["TriedPerson"][];
        };
        /** @description One person with numbers that were tried. */
        TriedPerson: {
            /**
             * Format: double
             * @description CIEDE2000 from the aim's centre.
             */
            de00: number;
            /**
             * Format: double
             * @description Hue, degrees.
             */
            hue_deg?: number | null;
            /**
             * Format: double
             * @description Level, percent.
             */
            level_pct: number;
            /** @description Whether that is on aim. */
            on_aim: boolean;
            /** @description The name. */
            person: string;
            /**
             * Format: double
             * @description Chroma magnitude over level.
             */
            sat_ratio: number;
        };
        /** @description An aim that is tried. */
        TryAimOrder: {
            /** @description As on the command line: `own`, `level:62-68,hue:120-126`, `like:SHOT`, or a preset. */
            aim: string;
            /** @description The name. */
            person: string;
            /** @description The shots on which it is looked at, 1 to 64 of them, by the film's numbers: the first are solved first. */
            shots: number[];
        };
        /** @description Two colours of light on one face, with both readings. */
        TwoLightsReport: {
            /**
             * Format: double
             * @description CIEDE2000 between the two at one level.
             */
            de00: number;
            /**
             * Format: double
             * @description Its hue, degrees.
             */
            fill_hue_deg?: number | null;
            /**
             * Format: double
             * @description Level of the other side, percent.
             */
            fill_level_pct: number;
            /**
             * Format: double
             * @description Its hue, degrees.
             */
            key_hue_deg?: number | null;
            /**
             * Format: double
             * @description Level of the side that is read, percent.
             */
            key_level_pct: number;
        };
        /** @description A drawn patch to be taken back. */
        UndrawOrder: {
            /**
             * Format: uint64
             * @description The source frame that it was drawn on.
             */
            frame: number;
            /** @description Whose skin it is. */
            person: string;
        };
        /** @description Where the cut uses a shot. */
        UsedReport: {
            /** @description Name of the clip in the list. */
            clip: string;
            /** @description Number of its event in the list. */
            event: string;
            /** @description Frames of the film over which it comes in by a transition: before its cut, and from it on. */
            head_transition?: number[] | null;
            /**
             * Format: int64
             * @description First frame in the film, counted from its start.
             */
            record_in: number;
            /**
             * Format: int64
             * @description The frame of the film after its last.
             */
            record_out: number;
            /** @description Reel or tape name in the list. */
            reel?: string | null;
            /**
             * Format: double
             * @description Source frames a frame of the film: 1 as shot, below 0 backward, 0 a frozen frame.
             */
            speed: number;
            /** @description Frames of the film over which it goes out by a transition: before the cut, and from it on. */
            tail_transition?: number[] | null;
        };
        /** @description What was handed over. */
        VersionReport: {
            /**
             * Format: int64
             * @description When: seconds since 1970-01-01 UTC.
             */
            at_s: number;
            /**
             * Format: int64
             * @description Number of the cut that was in the film; null where clips were taken in whole.
             */
            cut?: number | null;
            /** @description Its name. */
            version: string;
        };
        /** @description The form of a picture. */
        WhichForm: "screen" | "screen_exact" | "signal" | "still16";
        /** @description Which version of a picture. */
        WhichSide: "before" | "after" | "table" | "tried";
        /** @description A soft range: 1 on a flat top, 0 outside, smooth flanks between. */
        WindowNumbers: {
            /**
             * Format: double
             * @description Middle of the flat top.
             */
            centre: number;
            /**
             * Format: double
             * @description Width of each flank, above 0.
             */
            softness: number;
            /**
             * Format: double
             * @description Full width of the flat top, 0 or more.
             */
            width: number;
        };
        /** @description Long work to be started. */
        WorkOrder: {
            /** @description Their paths. */
            clips: string[];
            /** @constant */
            do: "take_in";
        } | {
            /** @constant */
            do: "read";
        } | {
            /** @constant */
            do: "fix";
        } | {
            /** @description How clips are coded. */
            codec: components["schemas"]["CodecChoice"];
            /** @description The directory. */
            directory: string;
            /** @constant */
            do: "hand_over";
            /** @description Limits that clips and tables are kept inside at the cost of saturation; without it nothing is limited. */
            limit?: components["schemas"]["LimitChoice"] | null;
            /**
             * @description The look is in the clips, and tables of fix and look stand beside those of the fix.
             * @default false
             */
            look: boolean;
            /** @description Name of the version that is recorded; without it, "version" and the next number. */
            name?: string | null;
            /** @description Only what has changed since that version, with handles of 12 frames. */
            since?: string | null;
            /**
             * @description A finished picture as one file, every shot with its fix, in place of a clip of each shot; not with `since`.
             * @default false
             */
            whole: boolean;
        } | {
            /** @constant */
            do: "prove";
        };
        /** @description A frame with area outside the limits. */
        WorstLimitReport: {
            /** @description The component that is outside most: `luma`, `red`, `green` or `blue`. */
            component?: string | null;
            /**
             * Format: uint64
             * @description Source frame.
             */
            frame: number;
            /**
             * Format: double
             * @description Area outside the nominal limits, percent.
             */
            nominal_pct: number;
            /**
             * Format: double
             * @description Area outside the preferred limits, percent.
             */
            preferred_pct: number;
            /** @description Its timecode; null where the source has none. */
            timecode?: string | null;
            /**
             * Format: double
             * @description Area outside the total limits, percent.
             */
            total_pct: number;
        };
    };
    responses: never;
    parameters: never;
    requestBodies: never;
    headers: never;
    pathItems: never;
}
export type $defs = Record<string, never>;
export interface operations {
    post_aim: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["AimOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["JobView"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_aim_try: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["TryAimOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["AimTried"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_answer: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["AnswerOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_delivered: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Delivered"][];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_erase: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["Nothing"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_events: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The events. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "text/event-stream": string;
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_film: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Overview"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_job: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["JobView"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_limits: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["ShotLimits"][];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_people: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["PeopleOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_redo: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["Nothing"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_report: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["FilmReport"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_shots__shot_: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["ShotView"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__choose: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["ChooseOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__constant: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["ConstantOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__copy: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["CopyOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__keep: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["KeepOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__note: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["NoteOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__patch: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["PatchOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["JobView"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_shots__shot__picture: {
        parameters: {
            query: {
                /** @description In what form. */
                form: components["schemas"]["WhichForm"];
                /** @description Source frame. */
                frame: number;
                /** @description The part wanted: left, top, width, height in fractions of the picture, with commas between. */
                part?: string;
                /** @description Which version. */
                side: components["schemas"]["WhichSide"];
                /** @description For side `tried`: the fix, as `picture` of `aim/try` names it. */
                tried?: string;
                /** @description Whatever names this version of it to the browser; not read. */
                v?: string;
                /** @description Widest that it may be, pixels; never made larger than the source. */
                width?: number;
            };
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The bytes. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/octet-stream": string;
                    "image/jpeg": string;
                    "image/png": string;
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_shots__shot__proxy: {
        parameters: {
            query: {
                /** @description How many. */
                count: number;
                /** @description First source frame. */
                from: number;
                /** @description Widest that they may be, pixels. */
                width: number;
            };
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The bytes. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/octet-stream": string;
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_shots__shot__table: {
        parameters: {
            query?: {
                /** @description Source frame whose fix is wanted, where the fix follows the light; without it the shot's middle one. */
                frame?: number;
                /**
                 * @description A part of the fix alone, over twice the domain: from this operation on, counted from 0. Without it the whole fix, as
                 *     it is exported.
                 */
                from?: number;
                /** @description The look over the fix instead. */
                look?: boolean;
                /** @description The operation before which that part ends; without it, it goes to the last. */
                to?: number;
            };
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The bytes. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/octet-stream": string;
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_shots__shot__traces: {
        parameters: {
            query: {
                /** @description Source frame. */
                frame: number;
                /** @description The patch of this person alone; else the whole picture. */
                person?: string;
                /** @description Whatever names this version of it to the browser; not read. */
                v?: string;
            };
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The bytes. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/octet-stream": string;
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__try: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["Numbers"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Tried"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_shots__shot__undraw: {
        parameters: {
            query?: never;
            header?: never;
            path: {
                /** @description The film's number of the shot. */
                shot: number;
            };
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["UndrawOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["JobView"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    get_state: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody?: never;
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["FilmState"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_stop: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["Nothing"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_undo: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["Nothing"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Done"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
    post_work: {
        parameters: {
            query?: never;
            header?: never;
            path?: never;
            cookie?: never;
        };
        requestBody: {
            content: {
                "application/json": components["schemas"]["WorkOrder"];
            };
        };
        responses: {
            /** @description The answer. */
            200: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["JobView"];
                };
            };
            /** @description The request does not fit the film. */
            400: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The film file is not there. */
            404: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description Something else is being done to the film. */
            409: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description The clip cannot be decoded there. */
            422: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
            /** @description It could not be done. */
            500: {
                headers: {
                    [name: string]: unknown;
                };
                content: {
                    "application/json": components["schemas"]["Failure"];
                };
            };
        };
    };
}
