# Was jeder Ort sagt: die Statusleiste, das Blatt „Orte“, Absagen der Seite selbst.
page-places = Orte
page-close = Schließen
page-line-more = Mehr
page-line-less = Weniger
page-language = Sprache
page-theme = Seite
page-theme-dark = Dunkel
page-theme-bright = Hell
page-state = Zustand des Geräts
page-place-failed = Dieser Ort ließ sich nicht öffnen. Prüfen Sie, ob das Gerät eingeschaltet und in der Nähe ist, und versuchen Sie es noch einmal.

page-not-live = NICHT LIVE
page-to-live = zum Live-Bild
page-no-picture-comes = es kommt kein Bild
page-light-on = Licht an { $level }
page-light-ready = Licht bereit
page-light-off = Licht aus
page-light-tripped = Licht gesperrt
page-light-no-answer = Licht gestört
page-light-not-known = Licht unklar
page-light-put-out = antippen: Licht aus
page-light-at-live = nur bei „Live“ an
page-recording = Aufn. { $time }
page-not-recording = Aufnahme aus
page-recording-not-known = Aufn. unklar
page-dye = ICG { $time }
page-no-dye = Noch kein ICG

page-watches = Dieses Tablet sieht zu.
page-unpaired = Dieses Tablet ist nicht mit dem Gerät gekoppelt.
page-unreachable = Das Gerät ist nicht zu erreichen. Prüfen Sie, ob es eingeschaltet und in der Nähe ist, und versuchen Sie es noch einmal.
page-no-answer = Das Gerät antwortet nicht. Sehen Sie nach dem Gerät selbst.
page-no-answer-yet = Das Gerät hat noch nicht geantwortet; es wird weiter gewartet.
page-away = Das Gerät ist nicht zu erreichen. Die Seite macht von selbst weiter, sobald es geht.
page-newer = Das Gerät hat eine neuere Seite als diese.
page-load-newer = Laden
page-camera-silent = Die Kamera antwortet nicht. Sie wird von selbst neu gestartet; versuchen Sie es gleich noch einmal.
page-too-many-tries = Zu viele Versuche. Warten Sie eine Minute und versuchen Sie es dann noch einmal.
page-could-not = Das Gerät konnte das nicht ausführen ({ $status }). Versuchen Sie es noch einmal.
page-in-english = Auf Englisch: { $line }

# Anstelle eines Werts.
page-uncertain = unsicher
page-saturated = übersteuert
page-too-dark = zu dunkel
page-unlit = unbeleuchtet
page-place-not-known = Ort unbekannt
page-out-of-picture = außerhalb des Bildes
page-no-picture-yet = noch kein Bild
page-no-reference = keine Referenz
page-reference-too-dark = Referenz zu dunkel
page-reference-saturated = Referenz übersteuert

# Namen von Bereichen: höchstens 40 Buchstaben, Ziffern, Leerzeichen, Punkte oder Striche.
page-name-tip = Spitze
page-name-middle = Mitte
page-name-base = Basis
page-name-edge = Rand
page-name-pedicle = Stiel
page-name-node = Knoten
page-other-name = Anderer Name: Buchstaben, Ziffern, Leerzeichen
page-keep-name = Namen übernehmen
page-name-rule = Ein Name hat 1 bis 40 Buchstaben, Ziffern, Leerzeichen, Punkte oder Striche:
