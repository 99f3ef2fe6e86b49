# Der Bereich „Live“.
live-place = Live
live-about = Das Bild von jetzt, mit Licht, Farbstoff und Aufnahme
