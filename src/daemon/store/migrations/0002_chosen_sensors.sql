-- Sensors that somebody chose to use, among those that the radio of an installation hears. While an installation has any, no
-- other is connected to there; while it has none, its configuration decides.
CREATE TABLE chosen_sensors (
    cage           TEXT    NOT NULL,
    -- What that machine's radio calls it: an address, or on some systems a word that only that machine knows.
    radio_id       TEXT    NOT NULL,
    -- The name it advertised when it was chosen; NULL: none.
    name           TEXT,
    chosen_utc_us  INTEGER NOT NULL,
    PRIMARY KEY (cage, radio_id)
) STRICT;
