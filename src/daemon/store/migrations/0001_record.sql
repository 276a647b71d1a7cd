-- The instructor's record.
--
-- Conventions. Identifiers are UUIDs (RFC 9562, version 7) as text. Instants are microseconds of UTC since 1970, in columns that
-- end in _utc_us. Every other quantity names its unit at the end of its column; σ is one standard deviation, in the
-- unit of its value. `version` counts the changes of a row; an edit names the version it has seen. An absent number is
-- NULL, an absent text is empty or NULL as noted. This text is SQLite's dialect; the program says how it is read for
-- PostgreSQL.

-- Whoever swings. A nickname is enough; there is no column for a date of birth.
CREATE TABLE athletes (
    id             TEXT    PRIMARY KEY,
    nickname       TEXT    NOT NULL,
    birth_year     INTEGER,
    -- The side or sides they bat from.
    bats           TEXT    NOT NULL CHECK (bats IN ('right', 'left', 'both', 'unknown')),
    height_m       REAL,
    note           TEXT    NOT NULL,
    created_utc_us INTEGER NOT NULL,
    version        INTEGER NOT NULL
) STRICT;
CREATE INDEX athletes_by_nickname ON athletes (nickname);

-- Who allowed what for an athlete, when, and for how long. Never edited away: withdrawing is a date.
CREATE TABLE consents (
    id               TEXT    PRIMARY KEY,
    athlete_id       TEXT    NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
    -- The name of whoever gave it, and what they are to the athlete.
    given_by         TEXT    NOT NULL,
    relation         TEXT    NOT NULL CHECK (relation IN ('self', 'parent', 'guardian', 'other')),
    -- What for: any of measuring, keeping, showing, sharing, joined by commas.
    scope            TEXT    NOT NULL,
    given_utc_us     INTEGER NOT NULL,
    expires_utc_us   INTEGER,
    withdrawn_utc_us INTEGER,
    note             TEXT    NOT NULL,
    version          INTEGER NOT NULL
) STRICT;
CREATE INDEX consents_by_athlete ON consents (athlete_id);

-- Bats and training implements.
CREATE TABLE bats (
    id                      TEXT    PRIMARY KEY,
    name                    TEXT    NOT NULL,
    kind                    TEXT    NOT NULL CHECK (kind IN ('bat', 'implement')),
    length_m                REAL,
    mass_kg                 REAL,
    -- Centre of mass from the knob's end.
    balance_m               REAL,
    -- Moment of inertia about the pivot 6 in from the knob's end (ASTM F2398), and how it is known.
    moi_knob6_kgm2          REAL,
    moi_knob6_sigma_kgm2    REAL,
    moi_source              TEXT CHECK (moi_source IN ('entered', 'pendulum')),
    -- The period of small swings about that pivot, where it was measured.
    pendulum_period_s       REAL,
    pendulum_period_sigma_s REAL,
    -- The sweet spot from the knob's end, and the barrel's diameter.
    sweet_spot_m            REAL,
    barrel_diameter_m       REAL,
    note                    TEXT    NOT NULL,
    -- No longer offered for new rounds.
    is_retired              INTEGER NOT NULL CHECK (is_retired IN (0, 1)),
    created_utc_us          INTEGER NOT NULL,
    version                 INTEGER NOT NULL
) STRICT;

-- Sensors that were ever connected, by the name the service gives them.
CREATE TABLE sensors (
    id                TEXT    PRIMARY KEY,
    name              TEXT    NOT NULL UNIQUE,
    -- What it is, as people call it.
    label             TEXT    NOT NULL,
    note              TEXT    NOT NULL,
    first_seen_utc_us INTEGER NOT NULL,
    last_seen_utc_us  INTEGER NOT NULL,
    version           INTEGER NOT NULL
) STRICT;

-- How a sensor sits on a bat: where the IMU is in the bat's frame B, and the rotation q_BS that takes its axes to the bat's.
CREATE TABLE mounts (
    id               TEXT    PRIMARY KEY,
    sensor_id        TEXT    NOT NULL REFERENCES sensors (id) ON DELETE CASCADE,
    -- NULL: the same on every bat.
    bat_id           TEXT    REFERENCES bats (id) ON DELETE CASCADE,
    offset_b_x_m     REAL    NOT NULL,
    offset_b_y_m     REAL    NOT NULL,
    offset_b_z_m     REAL    NOT NULL,
    q_bs_w           REAL    NOT NULL,
    q_bs_x           REAL    NOT NULL,
    q_bs_y           REAL    NOT NULL,
    q_bs_z           REAL    NOT NULL,
    -- σ of the direction of the bat's axis in the sensor.
    tilt_sigma_rad   REAL    NOT NULL,
    source           TEXT    NOT NULL CHECK (source IN ('entered', 'measured')),
    mounted_utc_us   INTEGER NOT NULL,
    -- NULL: it still sits so.
    removed_utc_us   INTEGER,
    note             TEXT    NOT NULL,
    version          INTEGER NOT NULL
) STRICT;
CREATE INDEX mounts_by_sensor ON mounts (sensor_id, mounted_utc_us);

-- An athlete's time in the cage, or what they did between lessons. `occasion` tells the two apart everywhere.
CREATE TABLE lessons (
    id             TEXT    PRIMARY KEY,
    athlete_id     TEXT    NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
    occasion       TEXT    NOT NULL CHECK (occasion IN ('lesson', 'practice')),
    -- Which installation it was at; several may share one store.
    cage           TEXT    NOT NULL,
    begun_utc_us   INTEGER NOT NULL,
    -- NULL: it is going on.
    ended_utc_us   INTEGER,
    title          TEXT    NOT NULL,
    note           TEXT    NOT NULL,
    version        INTEGER NOT NULL
) STRICT;
CREATE INDEX lessons_by_athlete ON lessons (athlete_id, begun_utc_us);
CREATE INDEX lessons_by_time ON lessons (begun_utc_us);

-- A group of swings within a lesson: one drill, one ball source, one bat, one side.
CREATE TABLE rounds (
    id                TEXT    PRIMARY KEY,
    lesson_id         TEXT    NOT NULL REFERENCES lessons (id) ON DELETE CASCADE,
    begun_utc_us      INTEGER NOT NULL,
    -- NULL: not said.
    drill             TEXT,
    ball_source       TEXT CHECK (ball_source IN ('tee', 'toss', 'front_toss', 'machine', 'live', 'dry')),
    -- The ball's speed at the plate, and how steeply it comes down there; for the timing window.
    pitch_speed_mps   REAL,
    pitch_descent_deg REAL,
    bat_id            TEXT    REFERENCES bats (id) ON DELETE SET NULL,
    side              TEXT CHECK (side IN ('right', 'left')),
    note              TEXT    NOT NULL,
    version           INTEGER NOT NULL
) STRICT;
CREATE INDEX rounds_by_lesson ON rounds (lesson_id, begun_utc_us);

-- Files of what sensors sent; they lie in the folder `recordings` of the installation that made or imported them.
CREATE TABLE recordings (
    id              TEXT    PRIMARY KEY,
    cage            TEXT    NOT NULL,
    file_name       TEXT    NOT NULL,
    sensor_id       TEXT    REFERENCES sensors (id) ON DELETE SET NULL,
    origin          TEXT    NOT NULL CHECK (origin IN ('live', 'import')),
    -- What an imported file was called, without its folder.
    imported_name   TEXT,
    -- Of an imported file: the athlete it was imported for.
    athlete_id      TEXT    REFERENCES athletes (id) ON DELETE SET NULL,
    -- Of an imported file: the round that its swings belong to.
    round_id        TEXT    REFERENCES rounds (id) ON DELETE SET NULL,
    begun_utc_us    INTEGER NOT NULL,
    -- NULL: it is being written, or its end is not known.
    ended_utc_us    INTEGER,
    duration_s      REAL,
    samples         INTEGER,
    sample_rate_hz  REAL,
    gaps            INTEGER,
    missing_samples INTEGER,
    -- SHA-256 of an imported file in hexadecimal, so that it is not imported twice.
    sha256          TEXT,
    -- 'open' until every swing in it is known to be in this store.
    state           TEXT    NOT NULL CHECK (state IN ('open', 'stored', 'removed')),
    version         INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX recordings_by_file ON recordings (cage, file_name);
CREATE INDEX recordings_by_time ON recordings (begun_utc_us);
CREATE INDEX recordings_by_athlete ON recordings (athlete_id);
CREATE INDEX recordings_by_round ON recordings (round_id);
CREATE UNIQUE INDEX recordings_by_sha256 ON recordings (sha256);

-- The direction toward the pitcher, as it was taken.
CREATE TABLE aims (
    id                TEXT    PRIMARY KEY,
    sensor_id         TEXT    NOT NULL REFERENCES sensors (id) ON DELETE CASCADE,
    lesson_id         TEXT    REFERENCES lessons (id) ON DELETE CASCADE,
    recording_id      TEXT    REFERENCES recordings (id) ON DELETE CASCADE,
    taken_utc_us      INTEGER NOT NULL,
    -- On the sensor's clock, in the recording.
    taken_s           REAL,
    -- Heading of the pitcher in the world frame of that stretch of the recording, about the vertical.
    heading_rad       REAL,
    heading_sigma_rad REAL,
    note              TEXT    NOT NULL,
    version           INTEGER NOT NULL
) STRICT;
CREATE INDEX aims_by_sensor ON aims (sensor_id, taken_utc_us);
CREATE INDEX aims_by_lesson ON aims (lesson_id);
CREATE INDEX aims_by_recording ON aims (recording_id);

-- Profiles as they were used, each once.
CREATE TABLE profiles (
    -- SHA-256 of the text, in hexadecimal.
    sha256 TEXT PRIMARY KEY,
    toml   TEXT NOT NULL
) STRICT;

-- A swing: where it is in which recording, whom it belongs to, and what the instructor says of it. Its numbers are in `analyses`.
CREATE TABLE swings (
    id                   TEXT    PRIMARY KEY,
    recording_id         TEXT    NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    -- In which stretch between restarts of the sensor, from 0.
    run                  INTEGER NOT NULL,
    -- The instant of contact: on the sensor's clock by the latest analysis, and on UTC with σ.
    contact_s            REAL    NOT NULL,
    contact_utc_us       INTEGER NOT NULL,
    contact_utc_sigma_us INTEGER,
    -- NULL while nobody is known to have swung.
    athlete_id           TEXT    REFERENCES athletes (id) ON DELETE CASCADE,
    lesson_id            TEXT    REFERENCES lessons (id) ON DELETE CASCADE,
    round_id             TEXT    REFERENCES rounds (id) ON DELETE SET NULL,
    side                 TEXT CHECK (side IN ('right', 'left')),
    bat_id               TEXT    REFERENCES bats (id) ON DELETE SET NULL,
    -- The instructor's word on whether it counts; no later analysis changes it, nor note, tags and owner.
    mark                 TEXT    NOT NULL CHECK (mark IN ('none', 'keep', 'exclude')),
    note                 TEXT    NOT NULL,
    -- 1 once it was moved by hand: what a recording says of its owner no longer holds.
    is_moved             INTEGER NOT NULL CHECK (is_moved IN (0, 1)),
    -- The latest analysis.
    revision             INTEGER NOT NULL,
    version              INTEGER NOT NULL
) STRICT;
CREATE INDEX swings_by_athlete ON swings (athlete_id, contact_utc_us, id);
CREATE INDEX swings_by_time ON swings (contact_utc_us, id);
CREATE INDEX swings_by_recording ON swings (recording_id, contact_s);
CREATE INDEX swings_by_lesson ON swings (lesson_id, contact_utc_us, id);
CREATE INDEX swings_by_round ON swings (round_id);
CREATE INDEX swings_by_bat ON swings (bat_id, contact_utc_us, id);

-- Words put on swings.
CREATE TABLE swing_tags (
    swing_id TEXT NOT NULL REFERENCES swings (id) ON DELETE CASCADE,
    tag      TEXT NOT NULL,
    PRIMARY KEY (swing_id, tag)
) STRICT;
CREATE INDEX swing_tags_by_tag ON swing_tags (tag);

-- What an analysis said of a swing. Rows are added, never changed: the live service tells a swing up to twice after the first
-- word, every later analysis once. Metrics as proto-docs/metrics.md defines them; NULL where a number would be a guess.
CREATE TABLE analyses (
    swing_id                         TEXT    NOT NULL REFERENCES swings (id) ON DELETE CASCADE,
    -- From 1.
    revision                         INTEGER NOT NULL,
    analysed_utc_us                  INTEGER NOT NULL,
    engine_version                   TEXT    NOT NULL,
    profile_sha256                   TEXT    NOT NULL REFERENCES profiles (sha256),
    recording_id                     TEXT    NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    -- By how much of the recording: 'streaming' (before contact), 'final' (with what came after) or 'revised' (with later rests).
    stage                            TEXT    NOT NULL CHECK (stage IN ('streaming', 'final', 'revised')),
    start_s                          REAL    NOT NULL,
    contact_s                        REAL    NOT NULL,
    contact_sigma_s                  REAL    NOT NULL,
    contact                          TEXT    NOT NULL CHECK (contact IN ('ball', 'none')),
    -- Flags between commas, sorted: ',gap,no_rest,' or ','.
    flags                            TEXT    NOT NULL,
    bat_speed_mps                    REAL, bat_speed_mps_sigma             REAL,
    peak_bat_speed_mps               REAL, peak_bat_speed_mps_sigma        REAL,
    peak_lead_ms                     REAL, peak_lead_ms_sigma              REAL,
    hand_speed_mps                   REAL, hand_speed_mps_sigma            REAL,
    hand_speed_at_contact_mps        REAL, hand_speed_at_contact_mps_sigma REAL,
    time_to_contact_ms               REAL, time_to_contact_ms_sigma        REAL,
    attack_angle_deg                 REAL, attack_angle_deg_sigma          REAL,
    bat_tilt_deg                     REAL, bat_tilt_deg_sigma              REAL,
    plane_tilt_deg                   REAL, plane_tilt_deg_sigma            REAL,
    turn_rate_dps                    REAL, turn_rate_dps_sigma             REAL,
    roll_rate_dps                    REAL, roll_rate_dps_sigma             REAL,
    speed_built_ms                   REAL, speed_built_ms_sigma            REAL,
    path_length_m                    REAL, path_length_m_sigma             REAL,
    timing_window_ms                 REAL, timing_window_ms_sigma          REAL,
    PRIMARY KEY (swing_id, revision)
) STRICT;
CREATE INDEX analyses_by_recording ON analyses (recording_id);

-- The curves of an analysis, as proto-docs/curves.md specifies them.
CREATE TABLE curves (
    swing_id TEXT    NOT NULL,
    revision INTEGER NOT NULL,
    compact  BLOB    NOT NULL,
    PRIMARY KEY (swing_id, revision),
    FOREIGN KEY (swing_id, revision) REFERENCES analyses (swing_id, revision) ON DELETE CASCADE
) STRICT;

-- What another device said the ball did, and the swing it is held to belong to.
CREATE TABLE ball_results (
    id                TEXT    PRIMARY KEY,
    athlete_id        TEXT    REFERENCES athletes (id) ON DELETE CASCADE,
    swing_id          TEXT    REFERENCES swings (id) ON DELETE SET NULL,
    -- How the swing was found; NULL: none was.
    matched_by        TEXT CHECK (matched_by IN ('time', 'hand')),
    -- The result's instant minus the swing's contact.
    match_offset_ms   REAL,
    measured_utc_us   INTEGER NOT NULL,
    -- Whatever measured it, in words.
    device            TEXT    NOT NULL,
    entered_by        TEXT    NOT NULL CHECK (entered_by IN ('hand', 'program', 'csv')),
    exit_speed_mps    REAL,
    launch_angle_deg  REAL,
    -- From straightaway centre, positive toward right field.
    direction_deg     REAL,
    carry_m           REAL,
    note              TEXT    NOT NULL,
    version           INTEGER NOT NULL
) STRICT;
CREATE INDEX ball_results_by_swing ON ball_results (swing_id);
CREATE INDEX ball_results_by_athlete ON ball_results (athlete_id, measured_utc_us);
CREATE INDEX ball_results_by_time ON ball_results (measured_utc_us, id);

-- Who and what the next swing belongs to, at each installation, as it was said; with an athlete, it is in a round as well.
CREATE TABLE plates (
    cage              TEXT    PRIMARY KEY,
    athlete_id        TEXT    REFERENCES athletes (id) ON DELETE SET NULL,
    lesson_id         TEXT    REFERENCES lessons (id) ON DELETE SET NULL,
    round_id          TEXT    REFERENCES rounds (id) ON DELETE SET NULL,
    side              TEXT CHECK (side IN ('right', 'left')),
    bat_id            TEXT    REFERENCES bats (id) ON DELETE SET NULL,
    drill             TEXT,
    ball_source       TEXT CHECK (ball_source IN ('tee', 'toss', 'front_toss', 'machine', 'live', 'dry')),
    pitch_speed_mps   REAL,
    pitch_descent_deg REAL,
    since_utc_us      INTEGER NOT NULL,
    version           INTEGER NOT NULL
) STRICT;

-- Who may reach the service over the network. The token itself is not kept.
CREATE TABLE tokens (
    id               TEXT    PRIMARY KEY,
    sha256           TEXT    NOT NULL UNIQUE,
    -- What it is for: 'phone of Robin'.
    label            TEXT    NOT NULL,
    role             TEXT    NOT NULL CHECK (role IN ('viewer', 'coach', 'owner')),
    created_utc_us   INTEGER NOT NULL,
    expires_utc_us   INTEGER NOT NULL,
    revoked_utc_us   INTEGER,
    last_used_utc_us INTEGER
) STRICT;

-- Who saw or changed what over the network. Rows outlive the token and the athlete they name.
CREATE TABLE audit (
    id           TEXT    PRIMARY KEY,
    at_utc_us    INTEGER NOT NULL,
    cage         TEXT    NOT NULL,
    token_id     TEXT    NOT NULL,
    token_label  TEXT    NOT NULL,
    role         TEXT    NOT NULL,
    address      TEXT    NOT NULL,
    method       TEXT    NOT NULL,
    path         TEXT    NOT NULL,
    -- The athlete whose data it was, where there is one.
    athlete_id   TEXT,
    status       INTEGER NOT NULL
) STRICT;
CREATE INDEX audit_by_time ON audit (at_utc_us, id);
CREATE INDEX audit_by_athlete ON audit (athlete_id, at_utc_us);

-- Answers to creations, so that the same request again gives the same answer.
CREATE TABLE idempotency_keys (
    -- Who asked and the key they gave.
    caller         TEXT    NOT NULL,
    idempotency_key TEXT   NOT NULL,
    -- SHA-256 of path, query and body, in hexadecimal.
    request_sha256 TEXT    NOT NULL,
    status         INTEGER NOT NULL,
    -- Where what was made is, the version it had, and its JSON.
    location       TEXT    NOT NULL,
    version        INTEGER NOT NULL,
    body           BLOB    NOT NULL,
    created_utc_us INTEGER NOT NULL,
    PRIMARY KEY (caller, idempotency_key)
) STRICT;
CREATE INDEX idempotency_keys_by_time ON idempotency_keys (created_utc_us);

-- What was erased: that it was, when, and how much of each kind; nothing of what it said.
CREATE TABLE tombstones (
    -- The id of what was erased.
    id            TEXT    PRIMARY KEY,
    kind          TEXT    NOT NULL CHECK (kind IN ('athlete', 'recording')),
    erased_utc_us INTEGER NOT NULL,
    -- Why: asked for, or kept long enough.
    reason        TEXT    NOT NULL CHECK (reason IN ('request', 'retention')),
    -- JSON: how many rows of each table, recordings and bytes.
    removed       TEXT    NOT NULL
) STRICT;

-- Backups that erasing has to reach.
CREATE TABLE backups (
    id          TEXT    PRIMARY KEY,
    cage        TEXT    NOT NULL,
    -- The whole path of its folder on the machine of that installation.
    folder      TEXT    NOT NULL,
    made_utc_us INTEGER NOT NULL,
    -- NULL: it is there, as far as is known.
    gone_utc_us INTEGER
) STRICT;
