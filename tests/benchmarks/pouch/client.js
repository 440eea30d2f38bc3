// A PouchDB client over leveldb in the folder given. Commands come as lines of JSON, each is answered by a line:
//   {"do": "load", "file": F}           keeps the documents in F (JSON list, with _id)
//   {"do": "push", "url": U}            replicates to U         -> {"ms", "docs"}
//   {"do": "edit", "count": N}          alters one field of N documents
//   {"do": "pull", "url": U, "name": D} replicates from U into the database D -> {"ms", "docs"}
const [folder] = process.argv.slice(2);
const PouchDB = require('pouchdb').defaults({ prefix: folder + '/' });
const fs = require('fs');
let own = new PouchDB('own');

async function timed(work) {
  const start = process.hrtime.bigint();
  const told = await work();
  if (!told.ok || told.errors.length) throw new Error('the replication failed: ' + JSON.stringify(told));
  return { ms: Number(process.hrtime.bigint() - start) / 1e6, docs: told.docs_written };
}

const commands = {
  async load({ file }) {
    const docs = JSON.parse(fs.readFileSync(file, 'utf8'));
    for (let at = 0; at < docs.length; at += 1000) await own.bulkDocs(docs.slice(at, at + 1000));
    return { docs: docs.length };
  },
  push: ({ url }) => timed(() => own.replicate.to(url)),
  pull: ({ url, name }) => timed(() => PouchDB.replicate(url, new PouchDB(name))),
  async edit({ count }) {
    const found = await own.allDocs({ include_docs: true, limit: count });
    await own.bulkDocs(found.rows.map((row) => ({ ...row.doc, count: row.doc.count + 1 })));
    return { docs: found.rows.length };
  },
};

require('readline').createInterface({ input: process.stdin }).on('line', async (line) => {
  const asked = JSON.parse(line);
  try {
    console.log(JSON.stringify(await commands[asked.do](asked)));
  } catch (fault) {
    console.log(JSON.stringify({ fault: String(fault && fault.stack || fault) }));
  }
});
