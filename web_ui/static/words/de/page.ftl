# Was jeder Ort sagt: die Statusleiste, das Blatt „Orte“, Absagen der Seite selbst.
page-places = Bereiche
page-close = Schließen
page-this-tablet = Dieses Tablet
page-language = Sprache
page-theme = Farben der Seite
page-theme-dark = Dunkel, für den abgedunkelten Saal
page-theme-bright = Hell, unter der Lampe
page-state = Zustand des Geräts
page-place-failed = Dieser Bereich ließ sich nicht öffnen. Prüfen Sie, ob das Gerät eingeschaltet und in der Nähe ist, und versuchen Sie es noch einmal.

page-live = Live
page-not-live = NICHT LIVE
page-back-to-live = zurück zum Bild
page-light-on = Licht an, { $level }
page-light-ready = Licht bereit
page-light-off = Licht aus
page-light-tripped = Licht gesperrt
page-light-no-answer = Licht: keine Antwort
page-light-not-known = Licht unbekannt
page-light-put-out = antippen: Licht aus
page-light-at-live = einschalten bei „Live“
page-recording = Aufn. { $time }
page-not-recording = Keine Aufnahme
page-recording-not-known = Aufn. unbekannt
page-dye = Farbstoff { $time }
page-no-dye = Noch kein Farbstoff
