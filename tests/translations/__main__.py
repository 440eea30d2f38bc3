"""Brings the translations up to date with the English texts.

    python -m tests.translations [--take JSON]

For each language under assets/translations the .po is given every text there is: what was translated stays where its
English is what it was, what is new or changed waits for a translator. Then the .mo is made, which is what is read.
`--take` puts {key: translation} of a file into the language named by `--to` first. A translator works on the .po with
any editor for gettext; the key is the context, and tells where a text stands.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from fieldapp import assets
from tests.translations.catalogue import FILE, brought_up, compiled, read, written


def main() -> int:
    """Brings every language up to date; how many texts wait in each is said."""
    parser = argparse.ArgumentParser(description="Bring the translations up to date with the English texts.")
    parser.add_argument("--take", type=Path, nargs="*", default=[], help="JSON files {key: translation} to put in")
    parser.add_argument("--to", default="de", help="the language that they are in")
    args = parser.parse_args()
    folder = assets.root() / "translations"
    new = {key: text for path in args.take for key, text in json.loads(path.read_text(encoding="utf-8")).items()}
    for lang in sorted({one.name for one in folder.iterdir() if one.is_dir()} | ({args.to} if new else set())):
        path = folder / lang / "LC_MESSAGES" / FILE
        path.parent.mkdir(parents=True, exist_ok=True)
        known = read(path) if path.is_file() else {}
        catalogue = brought_up(lang, assets.texts_in("en"), known, new if lang == args.to else {})
        path.write_bytes(written(catalogue))
        path.with_suffix(".mo").write_bytes(compiled(catalogue))
        waiting = [message.context for message in catalogue if message.id and not message.string]
        print(f"{lang}: {len(catalogue)} texts, {len(waiting)} wait for a translator")
        for key in waiting[:40]:
            print(f"  {key}")
    return 0


raise SystemExit(main())
