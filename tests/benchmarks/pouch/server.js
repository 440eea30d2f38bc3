// A PouchDB server (express-pouchdb over leveldb) in the folder given, on a free port of this machine, which it prints.
const [folder] = process.argv.slice(2);
const express = require('express');
const PouchDB = require('pouchdb').defaults({ prefix: folder + '/' });
const app = express();
app.use('/', require('express-pouchdb')(PouchDB, { mode: 'minimumForPouchDB', logPath: folder + '/log.txt', configPath: folder + '/config.json' }));
const server = app.listen(0, '127.0.0.1', () => console.log(server.address().port));
