CREATE TABLE elevations (
    id TEXT PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    created_at TEXT NOT NULL,
    depth_m REAL NOT NULL,
    scale_px_per_m REAL NOT NULL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    tile_px INTEGER NOT NULL,
    levels INTEGER NOT NULL,
    folder TEXT NOT NULL,
    seen_share REAL NOT NULL,
    cell_m REAL NOT NULL,
    rows INTEGER NOT NULL,
    cols INTEGER NOT NULL,
    layers TEXT NOT NULL,
    grid BLOB NOT NULL,
    input_hash TEXT NOT NULL
);
CREATE INDEX elevations_face ON elevations(face_id, depth_m);
