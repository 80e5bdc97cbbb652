PRAGMA application_id = 1397181506;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE checks (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        strand_id INTEGER NOT NULL REFERENCES strands (id) ON DELETE CASCADE,
        at TEXT NOT NULL,
        wet INTEGER NOT NULL CHECK (wet IN (0, 1)),
        reading TEXT NOT NULL,
        outlook TEXT,
        thumbnail BLOB,
        stretch TEXT CHECK (stretch IN ('springs back', 'slow', 'gummy')),
        note TEXT NOT NULL
    );
INSERT INTO "checks" VALUES(1,1,'2024-05-14T12:10:00.000000Z',0,'{"schema":"strandgauge.reading/1","photo":"second-visit.jpg","card":"strand card A6 version 1","illuminant":"D65","observer":"2","ladder":"lifted hair","wet":false,"card_fit":{"delta_e00_median":0.82,"delta_e00_max":2.31,"leave_one_out_mean":1.12,"light_unevenness_percent":14.0},"evenness":{"word":"slightly uneven","level_range":1.2},"overall":{"name":"overall","lab":[57.5,8.2,35.9],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":8.2,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null},"zones":[{"name":"root","lab":[51.0,10.1,36.2],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":7.4,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null},{"name":"mids","lab":[60.4,6.9,35.0],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":8.4,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null},{"name":"ends","lab":[62.6,5.8,34.1],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":8.6,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null}],"notes":[{"code":"unprofiled-print","message":"The card''s print was never measured, so it may be off."}]}','{"schema":"strandgauge.outlook/1","verdict":"close"}',X'FFD8736D616C6C',NULL,'');
INSERT INTO "checks" VALUES(2,1,'2024-05-14T12:20:00.000000Z',1,'{"schema":"strandgauge.reading/1","photo":"second-visit.jpg","card":"strand card A6 version 1","illuminant":"D65","observer":"2","ladder":"lifted hair","wet":false,"card_fit":{"delta_e00_median":0.82,"delta_e00_max":2.31,"leave_one_out_mean":1.12,"light_unevenness_percent":14.0},"evenness":{"word":"slightly uneven","level_range":1.2},"overall":{"name":"overall","lab":[57.5,8.2,35.9],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":8.2,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null},"zones":[{"name":"root","lab":[51.0,10.1,36.2],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":7.4,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null},{"name":"mids","lab":[60.4,6.9,35.0],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":8.4,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null},{"name":"ends","lab":[62.6,5.8,34.1],"lab_sd":[1.6,0.9,1.4],"lab_as_lit":[59.1,8.9,38.2],"lightness_spread":3.1,"level":8.6,"level_sd":0.21,"level_shares":{"7":0.07,"8":0.62,"9":0.31},"undertone":"yellow-orange","chroma":36.8,"hue_deg":77.1,"yellowness_e313":92.4,"stain":null}],"notes":[{"code":"unprofiled-print","message":"The card''s print was never measured, so it may be off."}]}',NULL,NULL,'slow','warm');
CREATE TABLE clients (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        alias TEXT NOT NULL,
        alias_key TEXT NOT NULL UNIQUE,  -- the alias as it is compared: without regard to case
        created TEXT NOT NULL
    );
INSERT INTO "clients" VALUES(1,'north window','north window','2024-05-14T11:58:00.000000Z');
CREATE TABLE erasures (
        id INTEGER PRIMARY KEY AUTOINCREMENT
    );
CREATE TABLE photos (
        check_id INTEGER PRIMARY KEY REFERENCES checks (id) ON DELETE CASCADE,
        content BLOB NOT NULL
    );
INSERT INTO "photos" VALUES(1,X'FFD870686F746F');
CREATE TABLE strands (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        visit_id INTEGER NOT NULL REFERENCES visits (id) ON DELETE CASCADE,
        name TEXT NOT NULL,
        target TEXT,
        started TEXT,
        limit_minutes REAL
    );
INSERT INTO "strands" VALUES(1,1,'left crown','rose','2024-05-14T12:00:00.000000Z',45.0);
CREATE TABLE visits (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        client_id INTEGER NOT NULL REFERENCES clients (id) ON DELETE CASCADE,
        started TEXT NOT NULL,
        note TEXT NOT NULL
    );
INSERT INTO "visits" VALUES(1,1,'2024-05-14T12:00:00.000000Z','hurried');
CREATE INDEX visits_of_client ON visits (client_id, started);
CREATE INDEX strands_of_visit ON strands (visit_id);
CREATE INDEX checks_of_strand ON checks (strand_id, at);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('clients',1);
INSERT INTO "sqlite_sequence" VALUES('visits',1);
INSERT INTO "sqlite_sequence" VALUES('strands',1);
INSERT INTO "sqlite_sequence" VALUES('checks',2);
COMMIT;
