-- A ledger of invented finds, as the program wrote it before its tables went by steps.
BEGIN TRANSACTION;
CREATE TABLE account (
	id TEXT NOT NULL, 
	person TEXT NOT NULL, 
	name TEXT NOT NULL, 
	role TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	password TEXT NOT NULL, 
	private TEXT NOT NULL, 
	active BOOLEAN NOT NULL, 
	wrong INTEGER NOT NULL, 
	locked_until TEXT, 
	PRIMARY KEY (id), 
	UNIQUE (person, role)
);
CREATE TABLE change (
	seq INTEGER NOT NULL, 
	id TEXT NOT NULL, 
	notebook TEXT NOT NULL, 
	n INTEGER NOT NULL, 
	record TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	site TEXT NOT NULL, 
	body TEXT NOT NULL, 
	closed BOOLEAN NOT NULL, 
	received_at TEXT NOT NULL, 
	source TEXT NOT NULL, 
	PRIMARY KEY (seq), 
	UNIQUE (id)
);
INSERT INTO "change" VALUES(1,'baea9ff0732efd4d6f24198a61f6bca5a23fc2808bcde1fc6a1972c3617de2e1','235ca44c-6e87-563e-bb3f-f207ae664759',1,'1126f386-2aa8-5f0f-9a67-83ab27444305','site','1126f386-2aa8-5f0f-9a67-83ab27444305','{"at":"2026-06-01T08:00:00.000+00:00","by":{"name":"cabin","person":"","role":"administrator"},"format":1,"kind":"site","n":1,"notebook":"235ca44c-6e87-563e-bb3f-f207ae664759","over":{},"prev":"","record":"1126f386-2aa8-5f0f-9a67-83ab27444305","set":{"cabin_key":"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=","code":"TST26","licence":null,"mode":"excavation","name":"Invented field","policy":{"second_reader":true,"zooarchaeologists_may_assess":[]},"zone_text":null},"site":"1126f386-2aa8-5f0f-9a67-83ab27444305"}',0,'2026-06-01T08:00:00.000+00:00','235ca44c-6e87-563e-bb3f-f207ae664759');
INSERT INTO "change" VALUES(2,'18766d8ca02280ae266d5a5057cca4464c9d90428d934d7044332a2ff1be8704','9c836588-0134-55ca-849a-74195260e8ba',1,'4d65468e-0911-5d47-9827-721d571073f0','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','{"at":"2026-06-01T10:00:00+02:00","by":{"name":"A. Digger","person":"4e7bc115-7cd6-59b8-92a6-040ec2af80ec","role":"recorder"},"format":1,"kind":"docket","n":1,"notebook":"9c836588-0134-55ca-849a-74195260e8ba","over":{},"prev":"","record":"4d65468e-0911-5d47-9827-721d571073f0","set":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","count":0,"label":"TST26 A1","reading":{"certainty":"certain","compared":"","element":"tibia","fusion":{},"portions":{},"sex":null,"side":"left","stage":"scan","taxon":"sheep"}},"site":"1126f386-2aa8-5f0f-9a67-83ab27444305"}',0,'2026-06-01T08:00:00.000+00:00','9c836588-0134-55ca-849a-74195260e8ba');
INSERT INTO "change" VALUES(3,'20325f0b2a7e5cd9d6f37286c5c60d073d814963bdec0aae0bc05aaa78f49c85','9c836588-0134-55ca-849a-74195260e8ba',2,'4d65468e-0911-5d47-9827-721d571073f0','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','{"at":"2026-06-01T10:00:00+02:00","by":{"name":"A. Digger","person":"4e7bc115-7cd6-59b8-92a6-040ec2af80ec","role":"recorder"},"format":1,"kind":"docket","n":2,"notebook":"9c836588-0134-55ca-849a-74195260e8ba","over":{},"prev":"18766d8ca02280ae266d5a5057cca4464c9d90428d934d7044332a2ff1be8704","record":"4d65468e-0911-5d47-9827-721d571073f0","set":{"human/0198479c-e96d-5b75-a45a-6bac854398dd":{"answer":"stop","stage":"trench","why":""}},"site":"1126f386-2aa8-5f0f-9a67-83ab27444305"}',0,'2026-06-01T08:00:00.000+00:00','9c836588-0134-55ca-849a-74195260e8ba');
INSERT INTO "change" VALUES(4,'71a34f296b70eeefd09faafc6ed66d79fe09cb7640fdd17b775d666609f10828','9c836588-0134-55ca-849a-74195260e8ba',3,'38a6868a-1fc5-5457-bb70-78c9fbe96125','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','{"at":"2026-06-01T10:00:00+02:00","by":{"name":"A. Digger","person":"4e7bc115-7cd6-59b8-92a6-040ec2af80ec","role":"recorder"},"format":1,"kind":"docket","n":3,"notebook":"9c836588-0134-55ca-849a-74195260e8ba","over":{},"prev":"20325f0b2a7e5cd9d6f37286c5c60d073d814963bdec0aae0bc05aaa78f49c85","record":"38a6868a-1fc5-5457-bb70-78c9fbe96125","set":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","label":"TST26 A3","material":"bone"},"site":"1126f386-2aa8-5f0f-9a67-83ab27444305"}',0,'2026-06-01T08:00:00.000+00:00','9c836588-0134-55ca-849a-74195260e8ba');
INSERT INTO "change" VALUES(5,'a418d52a9ed50772066ece29a92d2d858b8efe77ffa3d526483861b05e10d206','9c836588-0134-55ca-849a-74195260e8ba',4,'707e56d4-dab5-5ac9-b9b2-d95a99823b2f','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','{"at":"2026-06-01T10:00:00+02:00","by":{"name":"A. Digger","person":"4e7bc115-7cd6-59b8-92a6-040ec2af80ec","role":"recorder"},"format":1,"kind":"docket","n":4,"notebook":"9c836588-0134-55ca-849a-74195260e8ba","over":{},"prev":"71a34f296b70eeefd09faafc6ed66d79fe09cb7640fdd17b775d666609f10828","record":"707e56d4-dab5-5ac9-b9b2-d95a99823b2f","set":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","label":"TST26 A4"},"site":"1126f386-2aa8-5f0f-9a67-83ab27444305"}',0,'2026-06-01T08:00:00.000+00:00','9c836588-0134-55ca-849a-74195260e8ba');
INSERT INTO "change" VALUES(6,'4eb3a1bdc854779b985641d892a4943b72cc6d3d9ade7291969029f78a412962','563e01e7-df29-5b4d-b033-b0a846014600',1,'4d65468e-0911-5d47-9827-721d571073f0','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','{"at":"2026-06-01T10:00:00+02:00","by":{"name":"A. Digger","person":"4e7bc115-7cd6-59b8-92a6-040ec2af80ec","role":"recorder"},"format":1,"kind":"docket","n":1,"notebook":"563e01e7-df29-5b4d-b033-b0a846014600","over":{},"prev":"","record":"4d65468e-0911-5d47-9827-721d571073f0","set":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","count":3,"label":"TST26 A1"},"site":"1126f386-2aa8-5f0f-9a67-83ab27444305"}',0,'2026-06-01T08:00:00.000+00:00','563e01e7-df29-5b4d-b033-b0a846014600');
CREATE TABLE device (
	notebook TEXT NOT NULL, 
	name TEXT NOT NULL, 
	letter TEXT NOT NULL, 
	token TEXT NOT NULL, 
	enrolled_at TEXT NOT NULL, 
	seen_at TEXT, 
	withdrawn_at TEXT, 
	PRIMARY KEY (notebook), 
	UNIQUE (letter), 
	UNIQUE (token)
);
CREATE TABLE disagreement (
	record TEXT NOT NULL, 
	path TEXT NOT NULL, 
	nature TEXT NOT NULL, 
	PRIMARY KEY (record, path), 
	FOREIGN KEY(record) REFERENCES record (id)
);
INSERT INTO "disagreement" VALUES('4d65468e-0911-5d47-9827-721d571073f0','count','conflict');
CREATE TABLE enrolment (
	id TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	letter TEXT NOT NULL, 
	name TEXT NOT NULL, 
	expires_at TEXT NOT NULL, 
	used_by TEXT, 
	PRIMARY KEY (id)
);
INSERT INTO "enrolment" VALUES('5e7db701-5794-543e-9ad4-88637470a853','fe33ec71d9824c105396c16a675300de0bcfdfebafbcf9028dff65ed543447d4','A','trench tablet','2026-06-01T08:15:00.000+00:00',NULL);
CREATE TABLE event (
	nr INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	what TEXT NOT NULL, 
	who TEXT NOT NULL, 
	fields TEXT NOT NULL, 
	PRIMARY KEY (nr)
);
INSERT INTO "event" VALUES(1,'2026-06-01T08:00:00.000+00:00','code_opened','cabin','{"letter": "A", "name": "trench tablet"}');
INSERT INTO "event" VALUES(2,'2026-06-01T08:00:00.000+00:00','kept_unread','9c836588-0134-55ca-849a-74195260e8ba','{"answer": "kept_unread", "id": "x", "n": null, "notebook": null, "why": "its text does not match its hash: it was damaged or altered on the way"}');
INSERT INTO "event" VALUES(3,'2026-06-01T08:00:00.000+00:00','kept_unread','9c836588-0134-55ca-849a-74195260e8ba','{"answer": "kept_unread", "id": "18766d8ca02280ae266d5a5057cca4464c9d90428d934d7044332a2ff1be8704", "n": null, "notebook": null, "why": "its text does not match its hash: it was damaged or altered on the way"}');
INSERT INTO "event" VALUES(4,'2026-06-01T08:00:00.000+00:00','set_aside','563e01e7-df29-5b4d-b033-b0a846014600','{"answer": "set_aside", "id": "9e8449ba21af257b6298d37ac4e7d0a53099177b00b744673d655b0b1f3f05ab", "n": 2, "notebook": "563e01e7-df29-5b4d-b033-b0a846014600", "why": "cabin.aside.authority"}');
CREATE TABLE link (
	record TEXT NOT NULL, 
	sort TEXT NOT NULL, 
	other TEXT NOT NULL, 
	PRIMARY KEY (record, sort, other)
);
CREATE TABLE meta (
	"key" TEXT NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY ("key")
);
INSERT INTO "meta" VALUES('format','1');
INSERT INTO "meta" VALUES('site','1126f386-2aa8-5f0f-9a67-83ab27444305');
INSERT INTO "meta" VALUES('notebook','235ca44c-6e87-563e-bb3f-f207ae664759');
INSERT INTO "meta" VALUES('epoch','a582151a-740a-5c27-96bd-5e07b86ff6f5');
INSERT INTO "meta" VALUES('known','3-f3f1d40cb960593e');
INSERT INTO "meta" VALUES('head','6');
INSERT INTO "meta" VALUES('authority','1');
CREATE TABLE notebook (
	id TEXT NOT NULL, 
	reached INTEGER NOT NULL, 
	highest INTEGER NOT NULL, 
	gap_noted INTEGER, 
	PRIMARY KEY (id)
);
INSERT INTO "notebook" VALUES('9c836588-0134-55ca-849a-74195260e8ba',4,4,NULL);
INSERT INTO "notebook" VALUES('563e01e7-df29-5b4d-b033-b0a846014600',2,2,NULL);
CREATE TABLE problem (
	nr INTEGER NOT NULL, 
	record TEXT NOT NULL, 
	rule TEXT NOT NULL, 
	level TEXT NOT NULL, 
	path TEXT NOT NULL, 
	fields TEXT NOT NULL, 
	PRIMARY KEY (nr), 
	FOREIGN KEY(record) REFERENCES record (id)
);
INSERT INTO "problem" VALUES(1,'38a6868a-1fc5-5457-bb70-78c9fbe96125','question_not_asked','note','human','{}');
INSERT INTO "problem" VALUES(2,'38a6868a-1fc5-5457-bb70-78c9fbe96125','reading_missing','note','reading','{}');
INSERT INTO "problem" VALUES(3,'4d65468e-0911-5d47-9827-721d571073f0','pair_parted_without_comparison','note','reading/compared','{"element": "element.tibia", "pair": "taxon.sheep_goat", "taxon": "taxon.sheep"}');
INSERT INTO "problem" VALUES(4,'4d65468e-0911-5d47-9827-721d571073f0','portions_not_written','note','reading/portions','{"element": "element.tibia", "number": "9", "taxon": "taxon.sheep"}');
INSERT INTO "problem" VALUES(5,'4d65468e-0911-5d47-9827-721d571073f0','count_below_one','impossible','count','{"count": "0"}');
INSERT INTO "problem" VALUES(6,'707e56d4-dab5-5ac9-b9b2-d95a99823b2f','question_not_asked','note','human','{}');
INSERT INTO "problem" VALUES(7,'707e56d4-dab5-5ac9-b9b2-d95a99823b2f','reading_missing','note','reading','{}');
CREATE TABLE record (
	id TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	site TEXT NOT NULL, 
	life TEXT NOT NULL, 
	label TEXT, 
	context TEXT, 
	bag TEXT, 
	docket TEXT, 
	answer TEXT, 
	assessed BOOLEAN NOT NULL, 
	due BOOLEAN NOT NULL, 
	state TEXT NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "record" VALUES('1126f386-2aa8-5f0f-9a67-83ab27444305','site','1126f386-2aa8-5f0f-9a67-83ab27444305','live','Invented field',NULL,NULL,NULL,NULL,0,0,'{"id":"1126f386-2aa8-5f0f-9a67-83ab27444305","kinds":["site"],"sites":["1126f386-2aa8-5f0f-9a67-83ab27444305"],"heads":{"baea9ff0732efd4d6f24198a61f6bca5a23fc2808bcde1fc6a1972c3617de2e1":{"cabin_key":"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=","code":"TST26","licence":null,"mode":"excavation","name":"Invented field","policy":{"second_reader":true,"zooarchaeologists_may_assess":[]},"zone_text":null}},"named":{},"seen_by_deletion":{},"bare":[]}');
INSERT INTO "record" VALUES('4d65468e-0911-5d47-9827-721d571073f0','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','live','TST26 A1','5b732eb4-0380-5eca-93b9-7267b826d255',NULL,NULL,'stop',0,0,'{"id":"4d65468e-0911-5d47-9827-721d571073f0","kinds":["docket"],"sites":["1126f386-2aa8-5f0f-9a67-83ab27444305"],"heads":{"18766d8ca02280ae266d5a5057cca4464c9d90428d934d7044332a2ff1be8704":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","count":0,"label":"TST26 A1","reading":{"certainty":"certain","compared":"","element":"tibia","fusion":{},"portions":{},"sex":null,"side":"left","stage":"scan","taxon":"sheep"}},"20325f0b2a7e5cd9d6f37286c5c60d073d814963bdec0aae0bc05aaa78f49c85":{"human/0198479c-e96d-5b75-a45a-6bac854398dd":{"answer":"stop","stage":"trench","why":""}},"4eb3a1bdc854779b985641d892a4943b72cc6d3d9ade7291969029f78a412962":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","count":3,"label":"TST26 A1"}},"named":{},"seen_by_deletion":{},"bare":[]}');
INSERT INTO "record" VALUES('38a6868a-1fc5-5457-bb70-78c9fbe96125','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','live','TST26 A3','5b732eb4-0380-5eca-93b9-7267b826d255',NULL,NULL,'not_asked',0,0,'{"id":"38a6868a-1fc5-5457-bb70-78c9fbe96125","kinds":["docket"],"sites":["1126f386-2aa8-5f0f-9a67-83ab27444305"],"heads":{"71a34f296b70eeefd09faafc6ed66d79fe09cb7640fdd17b775d666609f10828":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","label":"TST26 A3","material":"bone"}},"named":{},"seen_by_deletion":{},"bare":[]}');
INSERT INTO "record" VALUES('707e56d4-dab5-5ac9-b9b2-d95a99823b2f','docket','1126f386-2aa8-5f0f-9a67-83ab27444305','live','TST26 A4','5b732eb4-0380-5eca-93b9-7267b826d255',NULL,NULL,'not_asked',0,0,'{"id":"707e56d4-dab5-5ac9-b9b2-d95a99823b2f","kinds":["docket"],"sites":["1126f386-2aa8-5f0f-9a67-83ab27444305"],"heads":{"a418d52a9ed50772066ece29a92d2d858b8efe77ffa3d526483861b05e10d206":{"context":"5b732eb4-0380-5eca-93b9-7267b826d255","label":"TST26 A4"}},"named":{},"seen_by_deletion":{},"bare":[]}');
CREATE TABLE unread (
	nr INTEGER NOT NULL, 
	id TEXT NOT NULL, 
	digest TEXT NOT NULL, 
	answer TEXT NOT NULL, 
	why TEXT NOT NULL, 
	notebook TEXT, 
	n INTEGER, 
	body BLOB NOT NULL, 
	received_at TEXT NOT NULL, 
	source TEXT NOT NULL, 
	PRIMARY KEY (nr), 
	UNIQUE (id, digest)
);
INSERT INTO "unread" VALUES(1,'x','5d69f9dac5b021003989d4809a5a207fd2ebea177c282caaf2f759fe8880fc31','kept_unread','its text does not match its hash: it was damaged or altered on the way',NULL,NULL,X'6E6F206368616E6765','2026-06-01T08:00:00.000+00:00','9c836588-0134-55ca-849a-74195260e8ba');
INSERT INTO "unread" VALUES(2,'18766d8ca02280ae266d5a5057cca4464c9d90428d934d7044332a2ff1be8704','2caa2c927e9c17d9ebff6b012749d17c4b0e231b5a94e443101823051ec2f3eb','kept_unread','its text does not match its hash: it was damaged or altered on the way',NULL,NULL,X'7B226174223A22323132362D31362D31315431313A31313A31312B31323A3131222C226279223A7B226E616D65223A22412E20446967676572222C22706572736F6E223A2234653762633131352D376364362D353962382D393261362D313431656332616638316563222C22726F6C65223A227265636F72646572227D2C22666F726D6174223A312C226B696E64223A22646F636B6574222C226E223A312C226E6F7465626F6F6B223A2239633833363538382D313133342D353563612D383439612D373431393532363165386261222C226F766572223A7B7D2C2270726576223A22222C227265636F7264223A2234643635343638652D313931312D356434372D393832372D373231643537313137336631222C22736574223A7B22636F6E74657874223A2235623733326562342D313338312D356563612D393362392D373236376238323664323535222C22636F756E74223A312C226C6162656C223A225453543236204131222C2272656164696E67223A7B226365727461696E7479223A226365727461696E222C22636F6D7061726564223A22222C22656C656D656E74223A227469626961222C22667573696F6E223A7B7D2C22706F7274696F6E73223A7B7D2C22736578223A6E756C6C2C2273696465223A226C656674222C227374616765223A227363616E222C227461786F6E223A227368656570227D7D2C2273697465223A2231313236663338362D326161382D356631662D396136372D383361623237343434333135227D','2026-06-01T08:00:00.000+00:00','9c836588-0134-55ca-849a-74195260e8ba');
INSERT INTO "unread" VALUES(3,'9e8449ba21af257b6298d37ac4e7d0a53099177b00b744673d655b0b1f3f05ab','9e8449ba21af257b6298d37ac4e7d0a53099177b00b744673d655b0b1f3f05ab','set_aside','cabin.aside.authority','563e01e7-df29-5b4d-b033-b0a846014600',2,X'7B226174223A22323032362D30362D30315431303A30303A30302B30323A3030222C226279223A7B226E616D65223A22412E20446967676572222C22706572736F6E223A2234653762633131352D376364362D353962382D393261362D303430656332616638306563222C22726F6C65223A227265636F72646572227D2C22666F726D6174223A312C226B696E64223A22706572736F6E222C226E223A322C226E6F7465626F6F6B223A2235363365303165372D646632392D356234642D623033332D623061383436303134363030222C226F766572223A7B7D2C2270726576223A2234656233613162646338353437373962393835363431643839326134393433623732636336643364396164653732393139363930323966373861343132393632222C227265636F7264223A2239336630653335372D613463382D353230302D613361332D626634313964653731613061222C22736574223A7B226E616D65223A2258227D2C2273697465223A2231313236663338362D326161382D356630662D396136372D383361623237343434333035227D','2026-06-01T08:00:00.000+00:00','563e01e7-df29-5b4d-b033-b0a846014600');
CREATE INDEX ix_change_record ON change (record);
CREATE INDEX change_of_notebook ON change (notebook, n);
CREATE INDEX unread_of_notebook ON unread (notebook, n);
CREATE INDEX record_by_label ON record (label);
CREATE INDEX record_in_bag ON record (bag);
CREATE INDEX record_by_answer ON record (answer, life);
CREATE INDEX record_by_kind ON record (kind, life);
CREATE INDEX record_due ON record (due, bag);
CREATE INDEX record_in_context ON record (context, kind);
CREATE INDEX link_from ON link (other);
CREATE INDEX ix_event_what ON event (what);
CREATE INDEX ix_problem_record ON problem (record);
CREATE INDEX ix_problem_level ON problem (level);
COMMIT;
