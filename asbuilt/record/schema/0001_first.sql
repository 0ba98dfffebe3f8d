CREATE TABLE buildings (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    unit TEXT NOT NULL,
    note TEXT NOT NULL
);
CREATE TABLE rooms (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    order_idx INTEGER NOT NULL,
    origin_x_m REAL NOT NULL,
    origin_y_m REAL NOT NULL,
    floor_z_m REAL NOT NULL,
    turn_rad REAL NOT NULL,
    closed INTEGER NOT NULL,
    finished_floor_thickness_m REAL
);
CREATE TABLE faces (
    id TEXT PRIMARY KEY,
    room_id TEXT NOT NULL REFERENCES rooms(id) DEFERRABLE INITIALLY DEFERRED,
    title TEXT NOT NULL,
    kind TEXT NOT NULL,
    order_idx INTEGER NOT NULL,
    length_m REAL NOT NULL,
    height_m REAL NOT NULL,
    corner_rad REAL NOT NULL,
    stud_depth_m REAL NOT NULL,
    stud_width_m REAL NOT NULL,
    spacing_m REAL NOT NULL,
    layout_from TEXT NOT NULL,
    exterior INTEGER NOT NULL,
    open_behind INTEGER NOT NULL,
    sheathing_m REAL,
    far_face_id TEXT REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    far_offset_sum_m REAL,
    far_height_shift_m REAL NOT NULL,
    cover_up_date TEXT
);
CREATE TABLE studs (
    id TEXT PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    center_m REAL NOT NULL,
    sigma_m REAL NOT NULL,
    width_m REAL NOT NULL,
    bottom_m REAL NOT NULL,
    top_m REAL,
    source TEXT NOT NULL
);
CREATE TABLE openings (
    id TEXT PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    kind TEXT NOT NULL,
    left_m REAL NOT NULL,
    right_m REAL NOT NULL,
    bottom_m REAL NOT NULL,
    top_m REAL NOT NULL
);
CREATE TABLE coverings (
    id TEXT PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    order_idx INTEGER NOT NULL,
    material TEXT NOT NULL,
    thickness_m REAL NOT NULL,
    date TEXT
);
CREATE TABLE markers (
    id INTEGER PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    size_m REAL NOT NULL,
    offset_m REAL,
    height_m REAL,
    depth_m REAL NOT NULL,
    sigma_m REAL NOT NULL,
    dictionary TEXT NOT NULL
);
CREATE TABLE reference_points (
    id TEXT PRIMARY KEY,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    label TEXT NOT NULL,
    kind TEXT NOT NULL,
    offset_m REAL NOT NULL,
    height_m REAL NOT NULL,
    depth_m REAL NOT NULL,
    sigma_m REAL NOT NULL,
    sigma_depth_m REAL NOT NULL
);
CREATE TABLE panels (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    face_id TEXT REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    amps REAL,
    volts REAL,
    spaces INTEGER,
    width_m REAL,
    height_m REAL
);
CREATE TABLE circuits (
    id TEXT PRIMARY KEY,
    panel_id TEXT REFERENCES panels(id) DEFERRABLE INITIALLY DEFERRED,
    number TEXT NOT NULL,
    name TEXT NOT NULL,
    amps REAL,
    volts REAL,
    poles INTEGER NOT NULL,
    cable TEXT NOT NULL,
    feeds TEXT NOT NULL,
    state TEXT NOT NULL
);
CREATE TABLE media (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    kind TEXT NOT NULL,
    byte_count INTEGER NOT NULL,
    path TEXT NOT NULL,
    taken_at TEXT,
    device TEXT NOT NULL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    focal_prior_px REAL,
    latitude_deg REAL,
    longitude_deg REAL,
    meta TEXT NOT NULL,
    state TEXT NOT NULL
);
CREATE TABLE pictures (
    id TEXT PRIMARY KEY,
    media_id TEXT NOT NULL REFERENCES media(id) DEFERRABLE INITIALLY DEFERRED,
    kind TEXT NOT NULL,
    pts_s REAL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    taken_at TEXT,
    room_id TEXT REFERENCES rooms(id) DEFERRABLE INITIALLY DEFERRED,
    face_id TEXT REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    filed_by TEXT NOT NULL,
    stage TEXT NOT NULL,
    sharpness REAL,
    light REAL,
    flags TEXT NOT NULL,
    kept_for TEXT NOT NULL
);
CREATE TABLE placements (
    id TEXT PRIMARY KEY,
    status TEXT NOT NULL,
    reason TEXT NOT NULL,
    quat_xyzw TEXT NOT NULL,
    translation_m TEXT NOT NULL,
    covariance TEXT NOT NULL,
    lens TEXT NOT NULL,
    lens_id TEXT NOT NULL,
    method TEXT NOT NULL,
    residual_px REAL,
    reference_count INTEGER NOT NULL,
    track_count INTEGER NOT NULL,
    solution_id TEXT NOT NULL,
    params_idx INTEGER
);
CREATE TABLE solutions (
    id TEXT PRIMARY KEY,
    created_at TEXT NOT NULL,
    report TEXT NOT NULL,
    joint_covariance BLOB NOT NULL,
    param_count INTEGER NOT NULL
);
CREATE TABLE items (
    id TEXT PRIMARY KEY,
    kind TEXT NOT NULL,
    label TEXT NOT NULL,
    face_id TEXT REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    circuit_id TEXT REFERENCES circuits(id) DEFERRABLE INITIALLY DEFERRED,
    cable TEXT NOT NULL,
    width_m REAL,
    height_m REAL,
    radius_m REAL,
    gangs INTEGER,
    comes_from TEXT NOT NULL,
    goes_to TEXT NOT NULL,
    state TEXT NOT NULL,
    note TEXT NOT NULL
);
CREATE TABLE sightings (
    id TEXT PRIMARY KEY,
    target TEXT NOT NULL,
    target_id TEXT NOT NULL,
    picture_id TEXT NOT NULL REFERENCES pictures(id) DEFERRABLE INITIALLY DEFERRED,
    place TEXT NOT NULL,
    order_idx INTEGER NOT NULL,
    x_px REAL NOT NULL,
    y_px REAL NOT NULL,
    sigma_px REAL NOT NULL,
    author TEXT NOT NULL
);
CREATE TABLE positions (
    id TEXT PRIMARY KEY,
    item_id TEXT NOT NULL REFERENCES items(id) DEFERRABLE INITIALLY DEFERRED,
    place TEXT NOT NULL,
    order_idx INTEGER NOT NULL,
    face_id TEXT NOT NULL REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    offset_m REAL NOT NULL,
    height_m REAL NOT NULL,
    depth_m REAL NOT NULL,
    covariance TEXT NOT NULL,
    method TEXT NOT NULL,
    picture_count INTEGER NOT NULL,
    parallax_rad REAL NOT NULL,
    status TEXT NOT NULL,
    reason TEXT NOT NULL
);
CREATE TABLE coverage (
    id TEXT PRIMARY KEY,
    created_at TEXT NOT NULL,
    cell_m REAL NOT NULL,
    rows INTEGER NOT NULL,
    cols INTEGER NOT NULL,
    layers TEXT NOT NULL,
    grid BLOB NOT NULL,
    input_hash TEXT NOT NULL
);
CREATE TABLE events (
    id TEXT PRIMARY KEY,
    kind TEXT NOT NULL,
    date TEXT NOT NULL,
    face_id TEXT REFERENCES faces(id) DEFERRABLE INITIALLY DEFERRED,
    left_m REAL,
    right_m REAL,
    bottom_m REAL,
    top_m REAL,
    note TEXT NOT NULL
);
CREATE TABLE history (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    author TEXT NOT NULL,
    action TEXT NOT NULL,
    table_name TEXT NOT NULL,
    row_id TEXT NOT NULL,
    before TEXT,
    after TEXT
);
CREATE TABLE step_reports (
    id INTEGER PRIMARY KEY,
    step TEXT NOT NULL,
    version TEXT NOT NULL,
    started_at TEXT NOT NULL,
    finished_at TEXT NOT NULL,
    report TEXT NOT NULL
);
CREATE INDEX faces_room ON faces(room_id);
CREATE INDEX studs_face ON studs(face_id);
CREATE INDEX openings_face ON openings(face_id);
CREATE INDEX coverings_face ON coverings(face_id);
CREATE INDEX events_face ON events(face_id);
CREATE INDEX sightings_target ON sightings(target_id);
CREATE INDEX sightings_picture ON sightings(picture_id);
CREATE INDEX positions_face ON positions(face_id, offset_m);
CREATE INDEX positions_item ON positions(item_id);
CREATE INDEX pictures_media ON pictures(media_id, pts_s);
CREATE INDEX history_row ON history(table_name, row_id);
