"""What the screens say and do, without kivy: state in, intents out. Tested without a window."""
