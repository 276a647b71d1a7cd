-- What an instructor compares with and gives along: the changes that matter, and homework.

-- For each metric the least change that matters to the instructor.
CREATE TABLE amounts (
    -- The metric's key, which ends in its unit.
    metric  TEXT    PRIMARY KEY,
    -- In that unit; NULL: the program's own.
    amount  REAL,
    version INTEGER NOT NULL
) STRICT;

-- What an athlete was told to do until they come again.
CREATE TABLE homework (
    id            TEXT    PRIMARY KEY,
    athlete_id    TEXT    NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
    -- In which lesson it was given; NULL: outside of one, or that lesson is gone.
    lesson_id     TEXT    REFERENCES lessons (id) ON DELETE SET NULL,
    given_utc_us  INTEGER NOT NULL,
    drill         TEXT    NOT NULL,
    -- With what; NULL: not said.
    bat_id        TEXT    REFERENCES bats (id) ON DELETE SET NULL,
    -- As people say it: '3 × 10 a day'. May be empty, as may the instructor's other words.
    how_much      TEXT    NOT NULL,
    words         TEXT    NOT NULL,
    -- When it was done or taken back; NULL: it is still to be done.
    ended_utc_us  INTEGER,
    version       INTEGER NOT NULL
) STRICT;
CREATE INDEX homework_by_athlete ON homework (athlete_id, given_utc_us);
CREATE INDEX homework_by_lesson ON homework (lesson_id);
CREATE INDEX homework_by_bat ON homework (bat_id);
