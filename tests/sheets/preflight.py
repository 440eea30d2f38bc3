"""Drives Apache PDFBox Preflight, a PDF/A-1b validator that knows nothing of the library which wrote the file.

Debian packages it with its classes spread over several jars; the ones it needs are named here, and their absence is
an error that says what to install. Seen: Preflight 2.0.27 of Debian 12.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

INSTALL = "apt-get install libpdfbox2-java libactivation-java libjaxb-api-java default-jre-headless"
_JARS = ("preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "javax.activation", "jaxb-api")


def preflight(pdf: Path) -> str:
    """What Preflight says of the file; "… is a valid PDF/A-1b file" if it is. Raises RuntimeError without it."""
    java = shutil.which("java")
    jars = [Path("/usr/share/java") / f"{one}.jar" for one in _JARS]
    missing = [str(one) for one in jars if not one.is_file()] + ([] if java else ["java"])
    if missing or java is None:
        raise RuntimeError(f"the PDF/A validator is not all there ({', '.join(missing)} missing): {INSTALL}")
    command = [
        java,
        "-Xshare:auto",
        "-XX:TieredStopAtLevel=1",
        "-cp",
        ":".join(map(str, jars)),
        "org.apache.pdfbox.preflight.Validator_A1b",
        str(pdf),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    if "Validator_A1b" in done.stderr or "Exception" in done.stderr:
        raise RuntimeError(f"the PDF/A validator did not run: {done.stderr.strip()}\nIs all of it there? {INSTALL}")
    return done.stdout.strip()
