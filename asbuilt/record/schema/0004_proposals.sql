CREATE TABLE proposals (
    id TEXT PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    kind TEXT NOT NULL,
    points_m TEXT NOT NULL,
    sigma_m REAL NOT NULL,
    sigma_depth_m REAL NOT NULL,
    picture_ids TEXT NOT NULL,
    strength REAL NOT NULL,
    gangs INTEGER,
    width_m REAL,
    height_m REAL,
    radius_m REAL,
    sheath TEXT NOT NULL,
    comes_from TEXT NOT NULL,
    goes_to TEXT NOT NULL,
    state TEXT NOT NULL,
    item_id TEXT,
    joined_to TEXT NOT NULL,
    note TEXT NOT NULL
);
CREATE TABLE proposal_runs (
    id TEXT PRIMARY KEY,
    created_at TEXT NOT NULL,
    input_hash TEXT NOT NULL,
    report TEXT NOT NULL
);
CREATE INDEX proposals_face ON proposals(face_id, state);
