"""Where the app begins on Android. Not for desktops: there `bonedocket tablet` does the same.

The notebook lies in the app's private folder. The panel's own pixels per inch are asked of the system: the density
bucket that kivy is told is up to a tenth off.
"""

from __future__ import annotations

from pathlib import Path

from fieldapp.ui.environment import prepare


def main() -> None:
    """Starts the app over the notebook in the app's own folder."""
    from android import mActivity  # of python-for-android
    from android.storage import app_storage_path

    home = Path(app_storage_path())
    metrics = mActivity.getResources().getDisplayMetrics()
    prepare(int(metrics.widthPixels), int(metrics.heightPixels), home / "kivy")
    from fieldapp.ui.app import TabletApp

    TabletApp(home / "notebook", ppi=float(metrics.xdpi)).run()


if __name__ == "__main__":
    main()
