# Aufnahmen als Dateien für andere Programme.
export-place = Export
export-about = Aufnahmen als Dateien, auf einen Stick
export-teach = Wählen Sie zuerst Aufnahmen aus: Berühren Sie das Kästchen neben jeder, dann „Exportieren“.
export-choose = Aufnahmen auswählen
export-choose-others = Andere auswählen
export-what = Aufnahmen
export-missing = Nicht vorhanden oder noch in Aufnahme und deshalb ausgelassen: { $what }
export-files = Dateien
export-csv = Tabellen
export-csv-about = Kurven, Kennwerte, Bilder und Ereignisse, für eine Tabellenkalkulation
export-png = Bilder
export-png-about = Standbilder mit Legende
export-mp4 = Video
export-mp4-about = Das Bild wie gezeigt, mit Legende; es sagt, wo das Licht aus war
export-maps = Karten der Anflutung
export-maps-about = Bilder mit Legende, Werte als TIFF, eine Tabelle
export-tiff = Rohbilder
export-tiff-about = Jedes Bild, wie es gemessen wurde, 16-Bit-TIFF, für die Forschung
export-language = Legenden, Bildunterschriften und Hinweise sprechen die Sprache dieser Seite; Tabellen sind englisch, für andere Software.
export-about-size = etwa { $size }
export-where = Wohin
export-no-drive = Kein USB-Stick steckt. Stecken Sie einen ein: Er erscheint hier von selbst.
export-folder = Ein Ordner auf dem Gerät
export-folder-about = für die Person, die das Gerät betreut
export-folder-label = Pfad des Ordners
export-drive-free = { $free } frei
export-drive-read-only = nur lesbar: Schreibschutz aufheben
export-drive-gone = antwortet nicht: herausziehen und neu einstecken
export-needs = Etwa { $size } zu schreiben.
export-needs-of = Etwa { $size } zu schreiben, { $free } frei.
export-no-room = Das passt nicht: weniger Dateien oder einen anderen Stick wählen.
export-start = Exportieren
export-caution = Ein Fallcode steht für die Patientin oder den Patienten: Prüfen Sie, dass kein Bild und keine Notiz jemanden erkennen lässt, bevor Dateien das Haus verlassen. Kein zugelassenes Medizinprodukt.
export-jobs = Exporte
export-progress = Wie weit der Export ist
export-stop = Anhalten
export-writing = { $what } wird auf { $where } geschrieben
export-written = { $count ->
    [one] Auf { $where } geschrieben
   *[other] { $count } Aufnahmen auf { $where } geschrieben
 }
export-was-stopped = Angehalten, auf { $where }
export-failed = Nicht alles konnte auf { $where } geschrieben werden
export-nothing-left = Dort bleibt nichts Halbes zurück, und hier ist nichts verloren: Sie können jederzeit neu beginnen.
export-whole-stay = Ganze Aufnahmen bleiben dort, nichts Halbes bleibt zurück, und hier ist nichts verloren.
export-checked = { $count ->
    [one] 1 Datei, { $size }, zurückgelesen und verglichen. manifest.json nennt sie mit ihrer Prüfsumme.
   *[other] { $count } Dateien, { $size }, zurückgelesen und verglichen. manifest.json nennt jede mit ihrer Prüfsumme.
 }
export-pull-written = Alles ist auf dem Stick, zurückgelesen, und nichts wartet mehr: Der Stick kann jetzt abgezogen werden. Ein Rechner bietet vielleicht an, ihn zu prüfen, denn das Gerät darf Sticks nicht abmelden.
export-pull = Auf den Stick wird jetzt nichts geschrieben, und nichts wartet mehr: Er kann abgezogen werden.
export-pull-not-known = Der Stick bestätigt nicht, dass alles angekommen ist. Schalten Sie das Gerät aus, bevor Sie ihn abziehen, und sehen Sie ihn dann an einem Rechner an.
export-notes = Anmerkungen
