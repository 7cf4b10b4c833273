-- An archive of version 1 of the tables, as it was written then: never edited, see docs/archive.md.
PRAGMA journal_mode = WAL;
PRAGMA application_id = 1734439030;
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

CREATE TABLE record (
    record INTEGER PRIMARY KEY AUTOINCREMENT,
    building TEXT NOT NULL COLLATE NOCASE CHECK (building <> ''),
    wall TEXT NOT NULL COLLATE NOCASE CHECK (wall <> ''),
    log TEXT NOT NULL COLLATE NOCASE CHECK (log <> ''),
    revision INTEGER NOT NULL CHECK (revision >= 1),
    kept_at TEXT NOT NULL,
    kept_utc TEXT NOT NULL,
    program TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('measured', 'doubtful')),
    cover_mm REAL NOT NULL,
    set_to_mm REAL NOT NULL,
    setting_mm REAL NOT NULL,
    setting_U95_mm REAL,
    widest_gap_mm REAL NOT NULL,
    widest_gap_U95_mm REAL,
    remeasured INTEGER REFERENCES record (record) ON DELETE SET NULL,
    UNIQUE (building, wall, log, revision)
);
CREATE INDEX record_building ON record (building);
CREATE INDEX record_wall ON record (building, wall);
CREATE INDEX record_remeasured ON record (remeasured) WHERE remeasured IS NOT NULL;

CREATE TABLE document (
    record INTEGER PRIMARY KEY REFERENCES record (record) ON DELETE CASCADE,
    options TEXT NOT NULL,
    result TEXT NOT NULL
);

CREATE TABLE content (
    sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
    bytes INTEGER NOT NULL CHECK (bytes > 0),
    suffix TEXT NOT NULL
);

CREATE TABLE record_file (
    record INTEGER NOT NULL REFERENCES record (record) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('photograph', 'picture')),
    name TEXT NOT NULL,
    given TEXT NOT NULL CHECK (given IN ('photos', 'inside', '')),
    used INTEGER NOT NULL CHECK (used IN (0, 1)),
    sha256 TEXT NOT NULL REFERENCES content (sha256),
    PRIMARY KEY (record, position)
);
CREATE INDEX record_file_content ON record_file (sha256);

CREATE TABLE outcome (
    outcome INTEGER PRIMARY KEY AUTOINCREMENT,
    record INTEGER NOT NULL REFERENCES record (record) ON DELETE CASCADE,
    added_at TEXT NOT NULL,
    date TEXT NOT NULL,
    instead INTEGER NOT NULL CHECK (instead IN (0, 1)),
    setting_used_mm REAL,
    narrowest_cover_mm REAL,
    remarks TEXT NOT NULL
);
CREATE INDEX outcome_record ON outcome (record);

CREATE TABLE outcome_value (
    outcome INTEGER NOT NULL REFERENCES outcome (outcome) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('caliper', 'trial', 'open')),
    station_mm REAL NOT NULL,
    to_mm REAL,
    value_mm REAL,
    u_mm REAL,
    setting_mm REAL,
    u_setting_mm REAL,
    PRIMARY KEY (outcome, position)
);

CREATE TABLE tombstone (
    record INTEGER PRIMARY KEY,
    building TEXT NOT NULL COLLATE NOCASE,
    wall TEXT NOT NULL COLLATE NOCASE,
    log TEXT NOT NULL COLLATE NOCASE,
    revision INTEGER NOT NULL,
    kept_at TEXT NOT NULL,
    removed_at TEXT NOT NULL,
    removed_by TEXT NOT NULL,
    reason TEXT NOT NULL,
    files TEXT NOT NULL
);
CREATE INDEX tombstone_job ON tombstone (building, wall, log);

CREATE TABLE leftover (sha256 TEXT PRIMARY KEY) WITHOUT ROWID;

CREATE VIRTUAL TABLE words USING fts5 (text, tokenize = 'unicode61 remove_diacritics 2');

INSERT INTO meta VALUES ('format', 'gapvision-archive');
INSERT INTO meta VALUES ('version', '1');
INSERT INTO record VALUES (1, 'Lake house', 'north', '3', 1, '2026-05-14T11:12:33+02:00', '2026-05-14T09:12:33Z', '0.1.0', 'measured', 75.0, 49.0, 47.0, 2.0, 38.0, 1.8, NULL);
INSERT INTO document VALUES (1, '{"inside_cards": [], "cover_mm": 76.0, "card_on": "upper", "upper_diameter": null, "lower_diameter": null, "from_mm": null, "to_mm": null, "printed_bar_mm": 100.0, "camera": null, "wall_thickness_mm": null, "readings": [], "trials": [], "units": "mm", "scriber_largest_mm": null, "scriber_step_mm": null, "lower_to_mm": null, "covers_mm": [], "rules": "none", "limits": [], "heights_at_mm": [], "underscribe_mm": 0.0, "calibrations": {}}', '{"format": "gapvision-measurement", "version": 1, "status": "measured", "widest_gap": {"value_mm": 38.0, "u_mm": 0.9, "U95_mm": 1.8, "station_mm": 310.0, "near_card": 2, "offset_mm": -390.0}, "setting": {"cover_mm": 75.0, "value_mm": 47.0, "u_mm": 1.0, "U95_mm": 2.0, "set_to_mm": 49.0, "station_mm": 0.0, "near_card": 1, "offset_mm": 0.0}, "narrowest_groove": {"value_mm": 80.0, "u_mm": 2.0, "station_mm": 0.0, "near_card": 1, "offset_mm": 0.0}, "profile": {"station_mm": [-100.0, -90.0, -80.0, -70.0, -60.0, -50.0, -40.0, -30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0], "gap_mm": [30.1197, 30.1465, 30.1785, 30.2164, 30.261, 30.3133, 30.3742, 30.4446, 30.5257, 30.6184, 30.7239, 30.8432, 30.9772, 31.1269, 31.293, 31.4762, 31.6769, 31.8954, 32.1317, 32.3856, 32.6563], "gap_u_mm": [0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8], "groove_width_mm": [84.977, 84.1246, 83.3268, 82.5941, 81.9365, 81.3632, 80.8822, 80.5006, 80.2239, 80.0562, 80.0, 80.0562, 80.2239, 80.5006, 80.8822, 81.3632, 81.9365, 82.5941, 83.3268, 84.1246, 84.977], "groove_width_u_mm": [2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0], "setting_needed_mm": [45.0092, 45.3502, 45.6693, 45.9624, 46.2254, 46.4547, 46.6471, 46.7998, 46.9104, 46.9775, 47.0, 46.9775, 46.9104, 46.7998, 46.6471, 46.4547, 46.2254, 45.9624, 45.6693, 45.3502, 45.0092], "setting_needed_u_mm": [0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8]}, "readings": [], "trials": [], "photographs_alone": null, "photos": [{"file": "photo0.jpg", "sha256": "5a153b84f246eb21ecb95d66d9ed9bb3e17f4f73fd9c5ef4a114b54dadbbb76b", "side": "outside", "used": true, "lacked": "", "height_mm": 4.0, "distance_mm": 1500.0, "from_mm": -900.0, "to_mm": 900.0, "cards": [1, 2], "residual_px": 0.5, "lens": "", "camera": null, "taken": null}], "chains": [{"side": "outside", "photos": ["photo0.jpg"], "shared_cards": []}], "cards": [{"number": 1, "side": "outside", "station_mm": 0.0, "lean_deg": 0.4, "photos": ["joint.jpg"]}, {"number": 2, "side": "outside", "station_mm": 700.0, "lean_deg": 0.4, "photos": ["joint.jpg"]}], "cautions": [{"code": "one-height", "text": "One photograph is not much.", "from_mm": null, "to_mm": null}, {"code": "end", "text": "No notch.", "from_mm": null, "to_mm": null}], "decision": null}');
INSERT INTO content VALUES ('5a153b84f246eb21ecb95d66d9ed9bb3e17f4f73fd9c5ef4a114b54dadbbb76b', 23, '.jpg');
INSERT INTO record_file VALUES (1, 1, 'photograph', 'photo0.jpg', 'photos', 1, '5a153b84f246eb21ecb95d66d9ed9bb3e17f4f73fd9c5ef4a114b54dadbbb76b');
INSERT INTO outcome VALUES (1, 1, '2026-05-20T16:00:00+02:00', '2026-05-20', 0, 49.0, 74.5, 'remembered well');
INSERT INTO outcome_value VALUES (1, 1, 'caliper', 0.0, NULL, 30.5, 0.5, NULL, NULL);
INSERT INTO tombstone VALUES (2, 'Lake house', 'north', '4', 1, '2026-05-14T11:20:00+02:00', '2026-05-15T08:00:00+02:00', 'somebody', 'wrong wall', '[]');
UPDATE sqlite_sequence SET seq = 2 WHERE name = 'record';
INSERT INTO words (rowid, text) VALUES (1, 'Lake house
north
3
photo0.jpg
remembered well');
PRAGMA user_version = 1;
