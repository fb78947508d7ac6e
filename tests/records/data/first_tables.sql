-- A record at revision 0001, as SQLite dumps it: one machine, its mod carried out, two trials. Never to be changed.
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE board (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	machine_id INTEGER NOT NULL, 
	parent_id INTEGER, 
	slug VARCHAR(60) NOT NULL, 
	name VARCHAR NOT NULL, 
	kind VARCHAR NOT NULL, 
	part_number VARCHAR NOT NULL, 
	revision VARCHAR NOT NULL, 
	serial_number VARCHAR NOT NULL, 
	made VARCHAR NOT NULL, 
	hazards JSON NOT NULL, 
	note VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(machine_id) REFERENCES machine (id), 
	FOREIGN KEY(parent_id) REFERENCES board (id), 
	UNIQUE (machine_id, slug), 
	UNIQUE (uuid)
);
INSERT INTO "board" VALUES(1,'43563ecbf7874897a202f2cfa028ce53',1,'2026-11-25 10:22:46.031048','Test keeper',1,NULL,'main-board','Main board','main board','','','','','[]','');
INSERT INTO "board" VALUES(2,'c50a46afd6014e51a3cd1dc4709533d9',1,'2026-11-25 10:22:46.061340','Test keeper',1,NULL,'supply','Supply','supply','','','','','[]','');
CREATE TABLE calculation (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	mod_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	title VARCHAR NOT NULL, 
	method VARCHAR NOT NULL, 
	note VARCHAR NOT NULL, 
	lines JSON NOT NULL, 
	limits JSON NOT NULL, 
	assumptions JSON NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(mod_id) REFERENCES mod (id), 
	UNIQUE (mod_id, number), 
	UNIQUE (uuid)
);
CREATE TABLE calculation_input (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	calculation_id INTEGER NOT NULL, 
	place INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	label VARCHAR NOT NULL, 
	unit VARCHAR NOT NULL, 
	source VARCHAR NOT NULL, 
	text VARCHAR NOT NULL, 
	position_id INTEGER, 
	when_empty VARCHAR NOT NULL, 
	trial_id INTEGER, 
	other_calculation_id INTEGER, 
	other_line VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(calculation_id) REFERENCES calculation (id), 
	FOREIGN KEY(other_calculation_id) REFERENCES calculation (id), 
	FOREIGN KEY(position_id) REFERENCES position (id), 
	FOREIGN KEY(trial_id) REFERENCES trial (id), 
	UNIQUE (calculation_id, name), 
	UNIQUE (uuid)
);
CREATE TABLE calculation_run (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	calculation_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	run_at DATETIME NOT NULL, 
	reason VARCHAR NOT NULL, 
	digest VARCHAR NOT NULL, 
	cases JSON NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(calculation_id) REFERENCES calculation (id), 
	UNIQUE (calculation_id, number), 
	UNIQUE (uuid)
);
CREATE TABLE expectation (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	mod_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	sentence VARCHAR NOT NULL, 
	procedure_id INTEGER, 
	sense VARCHAR NOT NULL, 
	bound FLOAT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(mod_id) REFERENCES mod (id), 
	FOREIGN KEY(procedure_id) REFERENCES procedure (id), 
	UNIQUE (mod_id, number), 
	UNIQUE (uuid)
);
INSERT INTO "expectation" VALUES(1,'dd844870f47e4eb2916b4ddda801be8d',1,'2026-11-25 10:22:47.014105','Test keeper',1,1,'It counts quicker',1,'better than before',NULL);
CREATE TABLE journal (
	seq INTEGER NOT NULL, 
	at DATETIME NOT NULL, 
	who VARCHAR NOT NULL, 
	subject CHAR(32) NOT NULL, 
	machine CHAR(32), 
	act VARCHAR NOT NULL, 
	words VARCHAR NOT NULL, 
	change JSON NOT NULL, 
	previous VARCHAR NOT NULL, 
	hash VARCHAR NOT NULL, 
	PRIMARY KEY (seq), 
	UNIQUE (hash)
);
INSERT INTO "journal" VALUES(1,'2026-11-25 10:22:45.643120','Test keeper','4c341e23144f42379a2cb955d6578bd6','4c341e23144f42379a2cb955d6578bd6','enter machine','Entered machine TM-03: Tarn & Fell Merle 40.','[{"table": "machine", "uuid": "4c341e23-144f-4237-9a2c-b955d6578bd6", "after": {"id": 1, "tag": "TM-03", "tag_key": "tm-03", "maker": "Tarn & Fell", "model": "Merle 40", "made": "1982~", "hazards": ["mains inside"]}}]','0000000000000000000000000000000000000000000000000000000000000000','fb97c71c9752806fbf2aeeeb698304f1da46eba1973fac20a074408e5f0daebf');
INSERT INTO "journal" VALUES(2,'2026-11-25 10:22:46.031048','Test keeper','43563ecbf7874897a202f2cfa028ce53','4c341e23144f42379a2cb955d6578bd6','add board','Added board Main board to TM-03.','[{"table": "board", "uuid": "43563ecb-f787-4897-a202-f2cfa028ce53", "after": {"id": 1, "machine_id": 1, "slug": "main-board", "name": "Main board", "kind": "main board"}}]','fb97c71c9752806fbf2aeeeb698304f1da46eba1973fac20a074408e5f0daebf','f6834c4946edabfa5dd50c91cdfc2b0bd2236ca2bde0d4adf0267b516dfb0927');
INSERT INTO "journal" VALUES(3,'2026-11-25 10:22:46.061340','Test keeper','c50a46afd6014e51a3cd1dc4709533d9','4c341e23144f42379a2cb955d6578bd6','add board','Added board Supply to TM-03.','[{"table": "board", "uuid": "c50a46af-d601-4e51-a3cd-1dc4709533d9", "after": {"id": 2, "machine_id": 1, "slug": "supply", "name": "Supply", "kind": "supply"}}]','f6834c4946edabfa5dd50c91cdfc2b0bd2236ca2bde0d4adf0267b516dfb0927','1604944f9c6dc373d25d646bcad98b98c3530d7db20c60508318c74ab7fdbc58');
INSERT INTO "journal" VALUES(4,'2026-11-25 10:22:46.076199','Test keeper','934bbfae3cbe4a18bf16700cf834176a','4c341e23144f42379a2cb955d6578bd6','enter part','Entered 360 Ω ±5 % resistor at R2 on Main board of TM-03.','[{"table": "position", "uuid": "ff54b957-2fdf-43d7-8709-5ab3dadb50b2", "after": {"id": 1, "board_id": 1, "designator": "R2", "designator_key": "r000002", "kind": "resistor", "mounting": "soldered"}}, {"table": "part", "uuid": "934bbfae-3cbe-4a18-bf16-700cf834176a", "after": {"id": 1, "kind": "resistor", "value": "360 \u03a9 \u00b15 %", "origin": "original"}}, {"table": "placement", "uuid": "ca4f3b8a-44c4-4e1a-a3f1-90ef04110c05", "after": {"id": 1, "part_id": 1, "position_id": 1}}]','1604944f9c6dc373d25d646bcad98b98c3530d7db20c60508318c74ab7fdbc58','232cff69e4e30cc51e8ffde8dc551186cb64babeca76e7c5ce64705be6f27a16');
INSERT INTO "journal" VALUES(5,'2026-11-25 10:22:46.662917','Test keeper','0dfa65d117164f0db50f5bb193c82c4f','4c341e23144f42379a2cb955d6578bd6','enter part','Entered 1 kΩ ±5 % resistor at R7 on Main board of TM-03.','[{"table": "position", "uuid": "c7b01f85-9fae-4d7a-8889-338b134861ff", "after": {"id": 2, "board_id": 1, "designator": "R7", "designator_key": "r000007", "kind": "resistor", "mounting": "soldered"}}, {"table": "part", "uuid": "0dfa65d1-1716-4f0d-b50f-5bb193c82c4f", "after": {"id": 2, "kind": "resistor", "value": "1 k\u03a9 \u00b15 %", "origin": "original"}}, {"table": "placement", "uuid": "0a8e1028-dbbb-4493-8f9f-37191d81b20f", "after": {"id": 2, "part_id": 2, "position_id": 2}}]','232cff69e4e30cc51e8ffde8dc551186cb64babeca76e7c5ce64705be6f27a16','064080c94ba68aa0ec6a947477428c3261fed2f818935402218356db4eddc58e');
INSERT INTO "journal" VALUES(6,'2026-11-25 10:22:46.687195','Test keeper','1644e2ff52724cfabb7309e3643e22ab','4c341e23144f42379a2cb955d6578bd6','enter part','Entered 7414 chip at U7 on Main board of TM-03.','[{"table": "position", "uuid": "735d1727-2025-4c10-accb-1e7777362b06", "after": {"id": 3, "board_id": 1, "designator": "U7", "designator_key": "u000007", "kind": "chip", "mounting": "socketed"}}, {"table": "part", "uuid": "1644e2ff-5272-4cfa-bb73-09e3643e22ab", "after": {"id": 3, "kind": "chip", "type": "7414", "origin": "original"}}, {"table": "placement", "uuid": "db84cc53-3bca-4af6-878b-0f1b34087bed", "after": {"id": 3, "part_id": 3, "position_id": 3}}]','064080c94ba68aa0ec6a947477428c3261fed2f818935402218356db4eddc58e','5d46ec3a9511911c20fb538b839524f37ea99c863567e898ba072d3154e3ae9a');
INSERT INTO "journal" VALUES(7,'2026-11-25 10:22:46.723441','Test keeper','2741014ea1ad457da426f98427524d85','4c341e23144f42379a2cb955d6578bd6','add position','Added position R9 on Main board of TM-03.','[{"table": "position", "uuid": "2741014e-a1ad-457d-a426-f98427524d85", "after": {"id": 4, "board_id": 1, "designator": "R9", "designator_key": "r000009", "kind": "resistor", "expected_value": "10 k\u03a9", "mounting": "soldered"}}]','5d46ec3a9511911c20fb538b839524f37ea99c863567e898ba072d3154e3ae9a','3d3f34577f47609cdf6dad95e6fe80a548600213ebbe4931e32a179f246d5d07');
INSERT INTO "journal" VALUES(8,'2026-11-25 10:22:46.747108','Test keeper','4c341e23144f42379a2cb955d6578bd6','4c341e23144f42379a2cb955d6578bd6','revise machine','Machine TM-03: variant “with “Ω” on the lid” noted; made “1982~” taken away; acquired on “2025-01-04” noted; hazards from “mains inside” to “mains inside, static”.','[{"table": "machine", "uuid": "4c341e23-144f-4237-9a2c-b955d6578bd6", "set": {"made": ["1982~", ""], "acquired_on": [null, "2025-01-04"], "variant": ["", "with \u201c\u03a9\u201d on the lid"], "hazards": [["mains inside"], ["mains inside", "static"]]}}]','3d3f34577f47609cdf6dad95e6fe80a548600213ebbe4931e32a179f246d5d07','92aff592fff59dc005b5fa91359e36241b930c2ad4712dec5c6d2d805598c392');
INSERT INTO "journal" VALUES(9,'2026-11-25 10:22:46.763164','Test keeper','f1fd20afccba48b899536e5b736e693c',NULL,'write procedure','Wrote down the procedure Time to count to a thousand.','[{"table": "procedure", "uuid": "f1fd20af-ccba-48b8-9953-6e5b736e693c", "after": {"id": 1, "slug": "time-to-count-to-a-thousand", "title": "Time to count to a thousand", "unit": "ms", "resolution": 1.0, "better": "lower"}}]','92aff592fff59dc005b5fa91359e36241b930c2ad4712dec5c6d2d805598c392','45e95243aeb212a1e1de9dbbe2f900a19b78777d20af1e12ee31498e36173a61');
INSERT INTO "journal" VALUES(10,'2026-11-25 10:22:46.823159','Test keeper','4e80e20176f44f9a8cbb02c8d9e59666','4c341e23144f42379a2cb955d6578bd6','record trial','Trial 1 of TM-03, Time to count to a thousand, on 2025-01-10: 3 readings.','[{"table": "trial", "uuid": "4e80e201-76f4-4f9a-8cbb-02c8d9e59666", "after": {"id": 1, "machine_id": 1, "procedure_id": 1, "number": 1, "day": "2025-01-10", "readings": [501.0, 503.0, 502.0], "signer": "Test keeper"}}]','45e95243aeb212a1e1de9dbbe2f900a19b78777d20af1e12ee31498e36173a61','dec0b82bbbd6f0b4e68cdf9fc313e06079f5f2515fafcd55363eccb6a27e22a1');
INSERT INTO "journal" VALUES(11,'2026-11-25 10:22:46.898782','Test keeper','d0676dec7c28489ca684cf34c10a4269','4c341e23144f42379a2cb955d6578bd6','plan mod','Wrote down mod 1 of TM-03, A lower pull-up, as planned.','[{"table": "mod", "uuid": "d0676dec-7c28-489c-a684-cf34c10a4269", "after": {"id": 1, "machine_id": 1, "number": 1, "title": "A lower pull-up", "state": "planned"}}, {"table": "mod_move", "uuid": "bf0451c0-2b68-48e3-aa81-671f929fb0e5", "after": {"id": 1, "mod_id": 1, "state": "planned", "day": "2025-02-01", "signer": "Test keeper"}}]','dec0b82bbbd6f0b4e68cdf9fc313e06079f5f2515fafcd55363eccb6a27e22a1','697c8e4144c96e5d50aee3d2fcae7410308a7ea57732e983b3d9c46e606ab10b');
INSERT INTO "journal" VALUES(12,'2026-11-25 10:22:46.947216','Test keeper','70d0f4f18bf74f408f5ac002d245a407','4c341e23144f42379a2cb955d6578bd6','add step','Mod 1 of TM-03, A lower pull-up, step 1: take out at R2.','[{"table": "step", "uuid": "70d0f4f1-8bf7-4f40-8f5a-c002d245a407", "after": {"id": 1, "mod_id": 1, "number": 1, "kind": "take out", "position_id": 1}}]','697c8e4144c96e5d50aee3d2fcae7410308a7ea57732e983b3d9c46e606ab10b','0333e2d74df1a66dd585e44ccbe7d709e64233be6d24357171da8b3395f449e3');
INSERT INTO "journal" VALUES(13,'2026-11-25 10:22:46.989241','Test keeper','0ab3b027777748b49e393f3c5be77ad3','4c341e23144f42379a2cb955d6578bd6','add step','Mod 1 of TM-03, A lower pull-up, step 2: fit 300 Ω ±5 % at R2.','[{"table": "step", "uuid": "0ab3b027-7777-48b4-9e39-3f3c5be77ad3", "after": {"id": 2, "mod_id": 1, "number": 2, "kind": "fit", "position_id": 1, "planned_value": "300 \u03a9 \u00b15 %"}}]','0333e2d74df1a66dd585e44ccbe7d709e64233be6d24357171da8b3395f449e3','29dbeb2e8c85d618c6a09e1b4118980682cba016be0c4471e0a8b83e03f9c94e');
INSERT INTO "journal" VALUES(14,'2026-11-25 10:22:47.014105','Test keeper','dd844870f47e4eb2916b4ddda801be8d','4c341e23144f42379a2cb955d6578bd6','expect','Mod 1 of TM-03, A lower pull-up, is expected to: It counts quicker.','[{"table": "expectation", "uuid": "dd844870-f47e-4eb2-916b-4ddda801be8d", "after": {"id": 1, "mod_id": 1, "number": 1, "sentence": "It counts quicker", "procedure_id": 1, "sense": "better than before"}}]','29dbeb2e8c85d618c6a09e1b4118980682cba016be0c4471e0a8b83e03f9c94e','dfe49b003af2f7e7056b442dec39de5e685b02e4d0c16e9d598d1247f7706c8a');
INSERT INTO "journal" VALUES(15,'2026-11-25 10:22:47.041620','Test keeper','70d0f4f18bf74f408f5ac002d245a407','4c341e23144f42379a2cb955d6578bd6','carry out step','Mod 1 of TM-03, A lower pull-up, step 1 done on 2025-02-03 by Test keeper: took 360 Ω ±5 % resistor out of R2, kept aside in bag 1.','[{"table": "placement", "uuid": "ca4f3b8a-44c4-4e1a-a3f1-90ef04110c05", "set": {"removed_by_step_id": [null, 1], "removed_on": [null, "2025-02-03"]}}, {"table": "step", "uuid": "70d0f4f1-8bf7-4f40-8f5a-c002d245a407", "set": {"part_id": [null, 1], "done_by": ["", "Test keeper"], "done_on": [null, "2025-02-03"]}}, {"table": "storage", "uuid": "29142ba9-3af9-4116-89ae-b4809aae9c9a", "after": {"id": 1, "part_id": 1, "from_position_id": 1, "bag": 1, "place": "drawer 2", "since": "2025-02-03"}}]','dfe49b003af2f7e7056b442dec39de5e685b02e4d0c16e9d598d1247f7706c8a','98e251489f806bec3303a03fb2ff4f77c2879558bc781653a13907b7ee0d1c56');
INSERT INTO "journal" VALUES(16,'2026-11-25 10:22:47.083175','Test keeper','0ab3b027777748b49e393f3c5be77ad3','4c341e23144f42379a2cb955d6578bd6','carry out step','Mod 1 of TM-03, A lower pull-up, step 2 done on 2025-02-03 by Test keeper: fitted 330 Ω ±1 % resistor at R2.','[{"table": "part", "uuid": "81320e8d-253e-4ddf-a167-357dcd5e183f", "after": {"id": 4, "kind": "resistor", "value": "330 \u03a9 \u00b11 %", "origin": "new"}}, {"table": "placement", "uuid": "7a651cd3-763e-4029-a88b-b40515e7b65f", "after": {"id": 4, "part_id": 4, "position_id": 1, "fitted_on": "2025-02-03", "fitted_by_step_id": 2}}, {"table": "step", "uuid": "0ab3b027-7777-48b4-9e39-3f3c5be77ad3", "set": {"done_by": ["", "Test keeper"], "part_id": [null, 4], "done_on": [null, "2025-02-03"]}}]','98e251489f806bec3303a03fb2ff4f77c2879558bc781653a13907b7ee0d1c56','674d255181aef7a861b884eeca99f256525fe770f0bd66c54d844aac193fd43e');
INSERT INTO "journal" VALUES(17,'2026-11-25 10:22:47.107380','Test keeper','d0676dec7c28489ca684cf34c10a4269','4c341e23144f42379a2cb955d6578bd6','move mod','Mod 1 of TM-03, A lower pull-up, is fitted since 2025-02-03, signed Test keeper.','[{"table": "mod_move", "uuid": "c751c740-530e-43b1-8e9b-af39d009784b", "after": {"id": 2, "mod_id": 1, "state": "fitted", "day": "2025-02-03", "signer": "Test keeper"}}, {"table": "mod", "uuid": "d0676dec-7c28-489c-a684-cf34c10a4269", "set": {"state": ["planned", "fitted"]}}]','674d255181aef7a861b884eeca99f256525fe770f0bd66c54d844aac193fd43e','3b2aef048ed396880341c4ca3aa54128c77ea9e57f68b026c8af6a99ca453317');
INSERT INTO "journal" VALUES(18,'2026-11-25 10:22:47.129894','Test keeper','42694548e7734608b825a65c79e9a7ef','4c341e23144f42379a2cb955d6578bd6','record trial','Trial 2 of TM-03, Time to count to a thousand, on 2025-02-04: 3 readings.','[{"table": "trial", "uuid": "42694548-e773-4608-b825-a65c79e9a7ef", "after": {"id": 2, "machine_id": 1, "procedure_id": 1, "number": 2, "day": "2025-02-04", "readings": [481.0, 480.0, 480.0], "signer": "Test keeper"}}, {"table": "trial_mod", "uuid": "bf496b02-aa95-4ef1-a223-3539d3580b2a", "after": {"id": 1, "trial_id": 2, "mod_id": 1}}]','3b2aef048ed396880341c4ca3aa54128c77ea9e57f68b026c8af6a99ca453317','a7c97608533492d1aa734e5c2136fde9865f506a4645dee0e653f68eb4c94721');
CREATE TABLE machine (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	tag VARCHAR(40) NOT NULL, 
	tag_key VARCHAR(40) NOT NULL, 
	maker VARCHAR NOT NULL, 
	model VARCHAR NOT NULL, 
	variant VARCHAR NOT NULL, 
	serial_number VARCHAR NOT NULL, 
	made VARCHAR NOT NULL, 
	acquired_on DATE, 
	acquired_from VARCHAR NOT NULL, 
	price VARCHAR NOT NULL, 
	provenance VARCHAR NOT NULL, 
	as_found VARCHAR NOT NULL, 
	hazards JSON NOT NULL, 
	keeper VARCHAR NOT NULL, 
	handed_over_on DATE, 
	handed_over_to VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (tag_key), 
	UNIQUE (uuid)
);
INSERT INTO "machine" VALUES(1,'4c341e23144f42379a2cb955d6578bd6',2,'2026-11-25 10:22:45.643120','Test keeper','TM-03','tm-03','Tarn & Fell','Merle 40','with “Ω” on the lid','','','2025-01-04','','','','','["mains inside", "static"]','',NULL,'');
CREATE TABLE mod (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	machine_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	title VARCHAR NOT NULL, 
	purpose VARCHAR NOT NULL, 
	reasoning VARCHAR NOT NULL, 
	hazards JSON NOT NULL, 
	state VARCHAR NOT NULL, 
	outcome VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(machine_id) REFERENCES machine (id), 
	UNIQUE (machine_id, number), 
	UNIQUE (uuid)
);
INSERT INTO "mod" VALUES(1,'d0676dec7c28489ca684cf34c10a4269',2,'2026-11-25 10:22:46.898782','Test keeper',1,1,'A lower pull-up','','','[]','fitted','');
CREATE TABLE mod_move (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	mod_id INTEGER NOT NULL, 
	state VARCHAR NOT NULL, 
	day DATE NOT NULL, 
	signer VARCHAR NOT NULL, 
	note VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(mod_id) REFERENCES mod (id), 
	UNIQUE (uuid)
);
INSERT INTO "mod_move" VALUES(1,'bf0451c02b6848e3aa81671f929fb0e5',1,'2026-11-25 10:22:46.898782','Test keeper',1,'planned','2025-02-01','Test keeper','');
INSERT INTO "mod_move" VALUES(2,'c751c740530e43b18e9baf39d009784b',1,'2026-11-25 10:22:47.107380','Test keeper',1,'fitted','2025-02-03','Test keeper','');
CREATE TABLE part (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	kind VARCHAR NOT NULL, 
	type VARCHAR NOT NULL, 
	marking VARCHAR NOT NULL, 
	value VARCHAR NOT NULL, 
	rating VARCHAR NOT NULL, 
	maker_mark VARCHAR NOT NULL, 
	date_code VARCHAR NOT NULL, 
	date_reading VARCHAR NOT NULL, 
	origin VARCHAR NOT NULL, 
	condition VARCHAR NOT NULL, 
	pedigree VARCHAR NOT NULL, 
	note VARCHAR NOT NULL, 
	gone VARCHAR, 
	gone_on DATE, 
	PRIMARY KEY (id), 
	UNIQUE (uuid)
);
INSERT INTO "part" VALUES(1,'934bbfae3cbe4a18bf16700cf834176a',1,'2026-11-25 10:22:46.076199','Test keeper','resistor','','','360 Ω ±5 %','','','','','original','','','',NULL,NULL);
INSERT INTO "part" VALUES(2,'0dfa65d117164f0db50f5bb193c82c4f',1,'2026-11-25 10:22:46.662917','Test keeper','resistor','','','1 kΩ ±5 %','','','','','original','','','',NULL,NULL);
INSERT INTO "part" VALUES(3,'1644e2ff52724cfabb7309e3643e22ab',1,'2026-11-25 10:22:46.687195','Test keeper','chip','7414','','','','','','','original','','','',NULL,NULL);
INSERT INTO "part" VALUES(4,'81320e8d253e4ddfa167357dcd5e183f',1,'2026-11-25 10:22:47.083175','Test keeper','resistor','','','330 Ω ±1 %','','','','','new','','','',NULL,NULL);
CREATE TABLE placement (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	part_id INTEGER NOT NULL, 
	position_id INTEGER NOT NULL, 
	fitted_on DATE, 
	fitted_by_step_id INTEGER, 
	removed_on DATE, 
	removed_by_step_id INTEGER, 
	PRIMARY KEY (id), 
	FOREIGN KEY(fitted_by_step_id) REFERENCES step (id), 
	FOREIGN KEY(part_id) REFERENCES part (id), 
	FOREIGN KEY(position_id) REFERENCES position (id), 
	FOREIGN KEY(removed_by_step_id) REFERENCES step (id), 
	UNIQUE (uuid)
);
INSERT INTO "placement" VALUES(1,'ca4f3b8a44c44e1aa3f190ef04110c05',2,'2026-11-25 10:22:46.076199','Test keeper',1,1,NULL,NULL,'2025-02-03',1);
INSERT INTO "placement" VALUES(2,'0a8e1028dbbb44938f9f37191d81b20f',1,'2026-11-25 10:22:46.662917','Test keeper',2,2,NULL,NULL,NULL,NULL);
INSERT INTO "placement" VALUES(3,'db84cc533bca4af6878b0f1b34087bed',1,'2026-11-25 10:22:46.687195','Test keeper',3,3,NULL,NULL,NULL,NULL);
INSERT INTO "placement" VALUES(4,'7a651cd3763e4029a88bb40515e7b65f',1,'2026-11-25 10:22:47.083175','Test keeper',4,1,'2025-02-03',2,NULL,NULL);
CREATE TABLE position (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	board_id INTEGER NOT NULL, 
	designator VARCHAR(40) NOT NULL, 
	designator_key VARCHAR(300) NOT NULL, 
	kind VARCHAR NOT NULL, 
	expected_type VARCHAR NOT NULL, 
	expected_value VARCHAR NOT NULL, 
	mounting VARCHAR NOT NULL, 
	pins INTEGER, 
	note VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(board_id) REFERENCES board (id), 
	UNIQUE (board_id, designator_key), 
	UNIQUE (uuid)
);
INSERT INTO "position" VALUES(1,'ff54b9572fdf43d787095ab3dadb50b2',1,'2026-11-25 10:22:46.076199','Test keeper',1,'R2','r000002','resistor','','','soldered',NULL,'');
INSERT INTO "position" VALUES(2,'c7b01f859fae4d7a8889338b134861ff',1,'2026-11-25 10:22:46.662917','Test keeper',1,'R7','r000007','resistor','','','soldered',NULL,'');
INSERT INTO "position" VALUES(3,'735d172720254c10accb1e7777362b06',1,'2026-11-25 10:22:46.687195','Test keeper',1,'U7','u000007','chip','','','socketed',NULL,'');
INSERT INTO "position" VALUES(4,'2741014ea1ad457da426f98427524d85',1,'2026-11-25 10:22:46.723441','Test keeper',1,'R9','r000009','resistor','','10 kΩ','soldered',NULL,'');
CREATE TABLE procedure (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	slug VARCHAR(60) NOT NULL, 
	title VARCHAR NOT NULL, 
	how VARCHAR NOT NULL, 
	unit VARCHAR NOT NULL, 
	unit_meaning VARCHAR NOT NULL, 
	resolution FLOAT, 
	better VARCHAR NOT NULL, 
	target FLOAT, 
	PRIMARY KEY (id), 
	UNIQUE (slug), 
	UNIQUE (uuid)
);
INSERT INTO "procedure" VALUES(1,'f1fd20afccba48b899536e5b736e693c',1,'2026-11-25 10:22:46.763164','Test keeper','time-to-count-to-a-thousand','Time to count to a thousand','','ms','',1.0,'lower',NULL);
CREATE TABLE step (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	mod_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	kind VARCHAR NOT NULL, 
	position_id INTEGER, 
	pin VARCHAR NOT NULL, 
	instruction VARCHAR NOT NULL, 
	planned_type VARCHAR NOT NULL, 
	planned_value VARCHAR NOT NULL, 
	before_state VARCHAR NOT NULL, 
	trace_stated VARCHAR NOT NULL, 
	trace_reason VARCHAR NOT NULL, 
	done_on DATE, 
	done_by VARCHAR NOT NULL, 
	done_note VARCHAR NOT NULL, 
	undone_on DATE, 
	undone_by VARCHAR NOT NULL, 
	undone_note VARCHAR NOT NULL, 
	part_id INTEGER, 
	PRIMARY KEY (id), 
	FOREIGN KEY(mod_id) REFERENCES mod (id), 
	FOREIGN KEY(part_id) REFERENCES part (id), 
	FOREIGN KEY(position_id) REFERENCES position (id), 
	UNIQUE (mod_id, number), 
	UNIQUE (uuid)
);
INSERT INTO "step" VALUES(1,'70d0f4f18bf74f408f5ac002d245a407',3,'2026-11-25 10:22:46.947216','Test keeper',1,1,'take out',1,'','','','','','','','2025-02-03','Test keeper','',NULL,'','',1);
INSERT INTO "step" VALUES(2,'0ab3b027777748b49e393f3c5be77ad3',2,'2026-11-25 10:22:46.989241','Test keeper',1,2,'fit',1,'','','','300 Ω ±5 %','','','','2025-02-03','Test keeper','',NULL,'','',4);
CREATE TABLE storage (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	part_id INTEGER NOT NULL, 
	from_position_id INTEGER, 
	bag INTEGER NOT NULL, 
	place VARCHAR NOT NULL, 
	since DATE NOT NULL, 
	until DATE, 
	condition VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(from_position_id) REFERENCES position (id), 
	FOREIGN KEY(part_id) REFERENCES part (id), 
	UNIQUE (uuid)
);
INSERT INTO "storage" VALUES(1,'29142ba93af9411689aeb4809aae9c9a',1,'2026-11-25 10:22:47.041620','Test keeper',1,1,1,'drawer 2','2025-02-03',NULL,'');
CREATE TABLE trial (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	machine_id INTEGER NOT NULL, 
	procedure_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	day DATE NOT NULL, 
	readings JSON NOT NULL, 
	conditions VARCHAR NOT NULL, 
	instrument VARCHAR NOT NULL, 
	signer VARCHAR NOT NULL, 
	note VARCHAR NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(machine_id) REFERENCES machine (id), 
	FOREIGN KEY(procedure_id) REFERENCES procedure (id), 
	UNIQUE (machine_id, number), 
	UNIQUE (uuid)
);
INSERT INTO "trial" VALUES(1,'4e80e20176f44f9a8cbb02c8d9e59666',1,'2026-11-25 10:22:46.823159','Test keeper',1,1,1,'2025-01-10','[501.0, 503.0, 502.0]','','','Test keeper','');
INSERT INTO "trial" VALUES(2,'42694548e7734608b825a65c79e9a7ef',1,'2026-11-25 10:22:47.129894','Test keeper',1,1,2,'2025-02-04','[481.0, 480.0, 480.0]','','','Test keeper','');
CREATE TABLE trial_mod (
	id INTEGER NOT NULL, 
	uuid CHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	created_by VARCHAR NOT NULL, 
	trial_id INTEGER NOT NULL, 
	mod_id INTEGER NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(mod_id) REFERENCES mod (id), 
	FOREIGN KEY(trial_id) REFERENCES trial (id), 
	UNIQUE (trial_id, mod_id), 
	UNIQUE (uuid)
);
INSERT INTO "trial_mod" VALUES(1,'bf496b02aa954ef1a2233539d3580b2a',1,'2026-11-25 10:22:47.129894','Test keeper',2,1);
CREATE INDEX ix_journal_machine ON journal (machine);
CREATE INDEX ix_journal_subject ON journal (subject);
CREATE INDEX ix_part_kind ON part (kind);
CREATE INDEX ix_board_machine_id ON board (machine_id);
CREATE INDEX ix_mod_machine_id ON mod (machine_id);
CREATE INDEX ix_trial_machine_id ON trial (machine_id);
CREATE INDEX ix_trial_procedure_id ON trial (procedure_id);
CREATE INDEX ix_calculation_mod_id ON calculation (mod_id);
CREATE INDEX ix_expectation_mod_id ON expectation (mod_id);
CREATE INDEX ix_expectation_procedure_id ON expectation (procedure_id);
CREATE INDEX ix_mod_move_mod_id ON mod_move (mod_id);
CREATE INDEX ix_position_board_id ON position (board_id);
CREATE INDEX ix_trial_mod_mod_id ON trial_mod (mod_id);
CREATE INDEX ix_trial_mod_trial_id ON trial_mod (trial_id);
CREATE INDEX ix_calculation_input_calculation_id ON calculation_input (calculation_id);
CREATE INDEX ix_calculation_input_other_calculation_id ON calculation_input (other_calculation_id);
CREATE INDEX ix_calculation_input_position_id ON calculation_input (position_id);
CREATE INDEX ix_calculation_input_trial_id ON calculation_input (trial_id);
CREATE INDEX ix_calculation_run_calculation_id ON calculation_run (calculation_id);
CREATE INDEX ix_step_mod_id ON step (mod_id);
CREATE INDEX ix_step_part_id ON step (part_id);
CREATE INDEX ix_step_position_id ON step (position_id);
CREATE INDEX ix_storage_bag ON storage (bag);
CREATE INDEX ix_storage_part_id ON storage (part_id);
CREATE UNIQUE INDEX one_bag_for_a_part ON storage (part_id) WHERE until IS NULL;
CREATE UNIQUE INDEX one_part_at_a_position ON placement (position_id) WHERE removed_on IS NULL;
CREATE UNIQUE INDEX one_position_for_a_part ON placement (part_id) WHERE removed_on IS NULL;
CREATE INDEX part_history ON placement (part_id, fitted_on);
CREATE INDEX placement_history ON placement (position_id, fitted_on);
COMMIT;
