ALTER TABLE buildings ADD COLUMN region TEXT NOT NULL DEFAULT 'us';
ALTER TABLE buildings ADD COLUMN occupancy TEXT NOT NULL DEFAULT '';
ALTER TABLE faces ADD COLUMN bearing INTEGER;
ALTER TABLE faces ADD COLUMN rated INTEGER;
ALTER TABLE faces ADD COLUMN insulation TEXT NOT NULL DEFAULT '';
ALTER TABLE panels ADD COLUMN fed_from_id TEXT REFERENCES circuits(id) DEFERRABLE INITIALLY DEFERRED;
ALTER TABLE panels ADD COLUMN feeder TEXT NOT NULL DEFAULT '';
ALTER TABLE panels ADD COLUMN main TEXT NOT NULL DEFAULT '';
ALTER TABLE circuits ADD COLUMN protection TEXT NOT NULL DEFAULT '';
ALTER TABLE circuits ADD COLUMN shares_neutral_id TEXT REFERENCES circuits(id) DEFERRABLE INITIALLY DEFERRED;
ALTER TABLE circuits ADD COLUMN tied INTEGER;
ALTER TABLE circuits ADD COLUMN continuous INTEGER;
CREATE TABLE taped_places (
    id TEXT PRIMARY KEY,
    item_id TEXT NOT NULL REFERENCES items(id) DEFERRABLE INITIALLY DEFERRED,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    order_idx INTEGER NOT NULL,
    offset_m REAL NOT NULL,
    height_m REAL NOT NULL,
    depth_m REAL,
    sigma_m REAL NOT NULL,
    sigma_depth_m REAL NOT NULL
);
CREATE TABLE box_details (
    id TEXT PRIMARY KEY REFERENCES items(id) DEFERRABLE INITIALLY DEFERRED,
    volume_m3 REAL,
    material TEXT NOT NULL,
    clamps INTEGER,
    set_out_m REAL,
    free_conductor_m REAL,
    free_outside_m REAL,
    made_up INTEGER,
    note TEXT NOT NULL
);
CREATE TABLE devices (
    id TEXT PRIMARY KEY,
    item_id TEXT NOT NULL REFERENCES items(id) DEFERRABLE INITIALLY DEFERRED,
    gang INTEGER NOT NULL,
    kind TEXT NOT NULL,
    load_va REAL,
    wire TEXT NOT NULL,
    note TEXT NOT NULL
);
CREATE TABLE cables (
    id TEXT PRIMARY KEY,
    circuit_id TEXT REFERENCES circuits(id) DEFERRABLE INITIALLY DEFERRED,
    use TEXT NOT NULL,
    type TEXT NOT NULL,
    comes_from TEXT NOT NULL,
    goes_to TEXT NOT NULL,
    item_ids TEXT NOT NULL,
    length_m REAL,
    coil_m REAL,
    stapled INTEGER,
    note TEXT NOT NULL
);
CREATE TABLE feeds (
    id TEXT PRIMARY KEY,
    circuit_id TEXT NOT NULL REFERENCES circuits(id) DEFERRABLE INITIALLY DEFERRED,
    comes_from TEXT NOT NULL,
    goes_to TEXT NOT NULL,
    cable_id TEXT REFERENCES cables(id) DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE controls (
    id TEXT PRIMARY KEY,
    switch_id TEXT NOT NULL REFERENCES items(id) DEFERRABLE INITIALLY DEFERRED,
    load_id TEXT NOT NULL REFERENCES items(id) DEFERRABLE INITIALLY DEFERRED,
    way TEXT NOT NULL,
    gang INTEGER,
    cable_id TEXT REFERENCES cables(id) DEFERRABLE INITIALLY DEFERRED,
    note TEXT NOT NULL
);
CREATE TABLE holes (
    id TEXT PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    kind TEXT NOT NULL,
    member TEXT NOT NULL,
    offset_m REAL NOT NULL,
    height_m REAL NOT NULL,
    depth_m REAL,
    size_m REAL NOT NULL,
    sigma_m REAL NOT NULL,
    doubled INTEGER NOT NULL,
    sealed INTEGER,
    cable_ids TEXT NOT NULL
);
CREATE TABLE verifications (
    id TEXT PRIMARY KEY,
    target TEXT NOT NULL,
    target_id TEXT NOT NULL,
    date TEXT NOT NULL,
    tested_by TEXT NOT NULL,
    method TEXT NOT NULL,
    result TEXT NOT NULL
);
CREATE TABLE rule_settings (
    id TEXT PRIMARY KEY,
    value TEXT NOT NULL,
    applies INTEGER NOT NULL,
    note TEXT NOT NULL
);
CREATE INDEX taped_places_item ON taped_places(item_id);
CREATE INDEX devices_item ON devices(item_id);
CREATE INDEX feeds_circuit ON feeds(circuit_id);
CREATE INDEX holes_face ON holes(face_id);
