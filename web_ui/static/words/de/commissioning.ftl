# Commissioning, and the check before a case.
commissioning-place = Kalibrierung und Prüfung
commissioning-about = Was kalibriert ist, und die Prüfung vor einem Fall
commissioning-list = Prüfung und Schritte
commissioning-back = Alle Schritte
commissioning-next = Als Nächstes
commissioning-not-known = Die Kamera antwortet nicht, daher ist über ihre Kalibrierung nichts bekannt. Die Seite sieht von selbst wieder nach.

commissioning-check = Prüfung vor einem Fall
commissioning-dark = Dunkelbild
commissioning-defects = Defekte Pixel
commissioning-flat = Hellfeld
commissioning-gain = Verstärkung
commissioning-light = Lichtleistung
commissioning-scale = Maßstab
commissioning-sharpness = Schärfe
commissioning-leakage = Streulicht
commissioning-sensitivity = Empfindlichkeit
commissioning-history = Frühere Kalibrierungen
commissioning-papers = Zertifikat und Vorlagen

commissioning-check-about = Unter einer Minute: Dunkelwert, neue Defekte, Streulicht, Licht, das kommt und auslöst, Speicherplatz, Versorgung, Uhr, Kalibrierung.
commissioning-dark-about = Was jedes Pixel ganz ohne Licht zählt.
commissioning-defects-about = Pixel, die heiß sind, rauschen oder im Licht abweichen; ihre Nachbarn treten an ihre Stelle.
commissioning-flat-about = Wie sich Objektiv, Ring und Pixel über das Bild hin unterscheiden.
commissioning-gain-about = Zählwerte je Elektron und Rauschen, aus Bildern mit steigender Belichtung. Jede Unsicherheit beruht darauf.
commissioning-light-about = Was jede Stufe des Rings wirklich abgibt, damit Dimmen kein Ergebnis verändert.
commissioning-scale-about = Millimeter je Pixel, und wie das Objektiv gerade Linien biegt.
commissioning-sharpness-about = Wie viel Kontrast feine Einzelheiten behalten.
commissioning-leakage-about = Wie viel vom eigenen Licht des Rings durch das Filter kommt.
commissioning-sensitivity-about = Der wenigste Farbstoff, der noch zu sehen ist, und bis wohin das Signal ihm proportional ist.
commissioning-history-about = Jede Kalibrierung bleibt erhalten. Wer eine ältere wieder aufnimmt, behält sie noch einmal unter neuem Datum; nichts geht verloren.
commissioning-papers-about = Papiere zum Ansehen, Speichern oder Drucken. Sie sind englisch.

commissioning-check-guide =
    Stellen Sie das Handgerät in seine dunkle Kiste auf die Karte ohne Farbstoff, das Fenster sauber, wie bei der Kalibrierung.
    Der Ring leuchtet etwa eine Sekunde lang und wird absichtlich ausgelöst.
commissioning-dark-guide =
    Lassen Sie das Handgerät zehn Minuten laufen, damit der Sensor seine Betriebstemperatur hat.
    Verschließen Sie das Objektiv lichtdicht, oder legen Sie das Handgerät in einem dunklen Raum mit der Vorderseite auf schwarzes Tuch.
    Der Ring bleibt dunkel.
commissioning-even-guide =
    Befestigen Sie das Handgerät senkrecht über einer gleichmäßigen, matten Fläche, die im Bereich seines Filters leuchtet: einer Farbstoffkarte. Sie füllt das ganze Bild und bewegt sich nicht.
    Verdunkeln Sie den Raum.
    Der Ring leuchtet auf höchster Stufe, insgesamt einige Sekunden.
commissioning-gain-guide =
    Befestigen Sie das Handgerät senkrecht über einer gleichmäßigen, matten Fläche, die im Bereich seines Filters leuchtet: einer Farbstoffkarte. Sie füllt das ganze Bild und bewegt sich nicht.
    Verdunkeln Sie den Raum.
    Der Ring leuchtet auf höchster Stufe etwa vierzehnmal, jeweils eine halbe Sekunde.
commissioning-light-guide =
    Lassen Sie den Ring eine Minute ruhen. Befestigen Sie das Handgerät über einer gleichmäßigen, matten Fläche, die in seinem Filter ein wenig leuchtet oder reflektiert: einer Farbstoffkarte oder mattweißen Karte.
    Sie füllt das mittlere Drittel des Bildes und bewegt sich nicht. Verdunkeln Sie den Raum, oder schalten Sie wenigstens flackernde Lampen aus.
    Der Ring leuchtet auf jeder Stufe, hinauf und wieder hinunter, jeweils etwa eine halbe Sekunde.
commissioning-scale-guide =
    Drucken Sie das Punktraster mit einem Laserdrucker auf steifes, mattes Papier, in 100 %, und prüfen Sie die Lineale. Die meiste Tinte ist im nahen Infrarot nicht zu sehen.
    Legen Sie es flach hin, seine Mitte in der Bildmitte, senkrecht unter dem Handgerät, in Ihrem Arbeitsabstand.
    Beleuchten Sie es gleichmäßig: Tageslicht oder eine Halogenlampe kann helfen.
    Der Ring leuchtet auf höchster Stufe, insgesamt einige Sekunden.
commissioning-sharpness-guide =
    Drucken Sie die schräge Kante mit einem Laserdrucker auf steifes, mattes Papier, in 100 %.
    Legen Sie sie flach hin, ihre Mitte in der Bildmitte, scharf gestellt in Ihrem Arbeitsabstand; keine andere Kante in der Bildmitte.
    Beleuchten Sie sie gleichmäßig: Tageslicht oder eine Halogenlampe kann helfen.
    Der Ring leuchtet auf höchster Stufe, insgesamt einige Sekunden.
commissioning-leakage-guide =
    Nehmen Sie die Farbstoffkarte weg, und legen Sie mattweiße Karte ohne Farbstoff an ihre Stelle, im selben Abstand. Sie füllt das Bild.
    Verdunkeln Sie den Raum.
    Der Ring leuchtet auf höchster Stufe, insgesamt einige Sekunden.
commissioning-sensitivity-guide =
    Füllen Sie acht gleiche Näpfchen gleich hoch mit Ihren Verdünnungen, eines davon ohne Farbstoff. Stellen Sie sie auf das gedruckte Blatt: die obere Reihe von links nach rechts, dann die untere, in der Reihenfolge, in der Sie die Konzentrationen nennen.
    Legen Sie die Mitte des Blattes in die Bildmitte, im Abstand des Schrittes Maßstab. Verdunkeln Sie den Raum.
    Handschuhe und Schutzbrille; die Fachinformation des Farbstoffs bestimmt, wie gemischt wird und wie lange eine Lösung haltbar ist.
    Der Ring leuchtet auf höchster Stufe, insgesamt einige Sekunden.

commissioning-caution-title = Der Ring wird leuchten
commissioning-caution = Sein Licht ist größtenteils unsichtbar. Sehen Sie nicht hinein. Schutzbrillen für alle in der Nähe; halten Sie andere fern. Jedes Tablet, das steuert, und der Taster am Handgerät können es sofort beenden.
commissioning-warned = Alle in der Nähe sind gewarnt, und niemand sieht in den Ring
commissioning-stays-dark = In diesem Schritt bleibt der Ring dunkel.
commissioning-watched = Behalten Sie diese Seite im Blick: Wenn fünf Sekunden lang niemand zusieht, endet der Vorgang von selbst, das Licht zuerst.
commissioning-distance = Vom Objektiv zum Blatt, mm
commissioning-pitch = Von Punkt zu Punkt, mm, über zehn gemessen
commissioning-concentrations = Konzentrationen der acht Näpfchen, durch Leerzeichen getrennt; eine davon 0
commissioning-unit = Ihre Einheit
commissioning-need-eight = Acht verschiedene Zahlen werden gebraucht, eine je Näpfchen: 0 für das ohne Farbstoff.
commissioning-need-number = Hier wird eine Zahl gebraucht.

commissioning-take = Diesen Schritt ausführen
commissioning-take-again = Noch einmal ausführen
commissioning-make-check = Prüfung durchführen
commissioning-check-again = Noch einmal prüfen
commissioning-start-lit = Beginnen: Der Ring leuchtet
commissioning-start-dark = Beginnen
commissioning-cancel = Jetzt nicht
commissioning-stop = Abbrechen
commissioning-running = { $step }: läuft
commissioning-running-since = seit { $seconds } s
commissioning-ring-lit = Der Ring leuchtet
commissioning-ring-dark = Der Ring ist dunkel
commissioning-begins = wird vorbereitet
commissioning-ended = Ohne Ergebnis beendet: { $why }
commissioning-other-runs = { $step } läuft. Eines nach dem anderen.
commissioning-target-simulated = Dies ist die Übung: Die Vorlagen werden von selbst vor die simulierte Kamera gelegt.

commissioning-result = { $step }: das Ergebnis
commissioning-keep = Behalten
commissioning-discard = Verwerfen
commissioning-keep-why = Behalten wird es die neueste Kalibrierung. Nichts Älteres geht verloren.
commissioning-kept = Behalten. Es gilt, sobald es in Kraft gesetzt ist.
commissioning-discarded = Verworfen. Die Kalibrierung davor bleibt.
commissioning-undo = Rückgängig
commissioning-discard-question = Dieses Ergebnis verwerfen? Es lässt sich nicht zurückholen; der Schritt kann noch einmal ausgeführt werden.
commissioning-tripped = Das Licht hat ausgelöst: { $why }. Bringen Sie das in Ordnung, und machen Sie es dann wieder bereit; dabei leuchtet nichts.
commissioning-arm = Licht wieder bereit machen
commissioning-waits = Ein Ergebnis wartet: Behalten oder verwerfen Sie es.
commissioning-look-at-it = Ansehen

commissioning-figure = Größe
commissioning-value = Wert
commissioning-limit = Grenze
commissioning-before = Vorher
commissioning-within = eingehalten
commissioning-outside = ÜBERSCHRITTEN
commissioning-figures-about = Werte mit ihrer Standardunsicherheit. Die Grenzen hat dieses Projekt selbst gewählt.
commissioning-taken = Ausgeführt { $when }
commissioning-age = { $days ->
    [0] heute
    [one] vor { $days } Tag
   *[other] vor { $days } Tagen
  }
commissioning-never = nie ausgeführt
commissioning-failing = außerhalb der Grenze
commissioning-old = zu alt: noch einmal ausführen
commissioning-frames-in = Bilder in { $recording }
commissioning-needs = Zuerst: { $steps }.

commissioning-passed = BESTANDEN
commissioning-failed = NICHT BESTANDEN
commissioning-pass = gut
commissioning-fail = FEHLER
commissioning-check-made = Prüfung vom { $when }
commissioning-check-none = Es wurde noch keine Prüfung durchgeführt.
commissioning-checks-before = Frühere Prüfungen
commissioning-put-right = Bringen Sie in Ordnung, was nicht bestand, und prüfen Sie dann noch einmal.
commissioning-in-progress = läuft

commissioning-next-decide = Ein Ergebnis wartet auf Ihre Entscheidung: { $step }.
commissioning-next-start = Nichts ist kalibriert: Ergebnisse beruhen auf Annahmen. Beginnen Sie mit dem Dunkelbild.
commissioning-next-step = { $step } fehlt und kommt als Nächstes.
commissioning-next-force = Die neueste Kalibrierung ist noch nicht in Kraft. Das Kameraprogramm neu zu starten dauert einige Sekunden; währenddessen gibt es kein Bild.
commissioning-next-force-now = In Kraft setzen
commissioning-next-old = { $step } ist { $days } Tage alt, mehr als { $limit }. Führen Sie es noch einmal aus.
commissioning-next-failing = { $step } liegt außerhalb der Grenze. Sehen Sie dort nach, und führen Sie es dann noch einmal aus.
commissioning-next-check = Kalibriert. Führen Sie vor einem Fall die Prüfung durch.
commissioning-next-check-failed = Die letzte Prüfung wurde nicht bestanden. Bringen Sie in Ordnung, was nicht bestand, und prüfen Sie noch einmal.
commissioning-next-ready = Kalibriert, und die heutige Prüfung ist bestanden.
commissioning-next-optional = { $step } wurde nie ausgeführt. Ergebnisse brauchen es nicht; das Zertifikat sagt damit mehr.
commissioning-next-live = Zum Bild
commissioning-not-for-replay = Eine abgespielte Aufnahme hat keinen Sensor: Es gibt nichts zu kalibrieren. Die Druckvorlagen sind trotzdem zu haben.
commissioning-force-asked = Die neueste Kalibrierung in Kraft setzen? Das Bild ist einige Sekunden weg.
commissioning-forcing = Das Kameraprogramm startet neu.

commissioning-in-force = in Kraft
commissioning-newest = neueste
commissioning-lacks = es fehlt: { $steps }
commissioning-again-from = wieder die vom { $name }
commissioning-use = Diese verwenden
commissioning-used = Wieder aufgenommen. Sie gilt, sobald sie in Kraft gesetzt ist.
commissioning-no-calibrations = Noch keine ist vorhanden.

commissioning-certificate = Zertifikat
commissioning-certificate-about = Jede Größe der neuesten Kalibrierung neben ihrer Grenze, mit ihren Kurven, als PDF.
commissioning-targets = Druckvorlagen
commissioning-targets-about = Punktraster, schräge Kante, Plätze der gleichmäßigen Fläche und der Näpfchen. Drucken Sie in 100 %, mit einem Laserdrucker auf mattes Papier, und messen Sie beide Lineale nach.
commissioning-target-a4 = Papier A4
commissioning-target-letter = Papier Letter
commissioning-write-paper = Erstellen
commissioning-writing = wird erstellt …
commissioning-open-paper = PDF öffnen
commissioning-save-paper = Speichern
commissioning-paper-failed = Es konnte nicht erstellt werden: { $why }

commissioning-curve-none = Von diesem Schritt ist keine Kurve aufbewahrt.
commissioning-curve-dark = Pixel nach ihrem mittleren Zählwert
commissioning-curve-defects = Wo die Defekte liegen
commissioning-curve-flat = Prozent der hellsten Stelle
commissioning-curve-gain = Photonentransfer (EMVA 1288)
commissioning-curve-light = Leistung gegenüber voller Stufe
commissioning-curve-sharpness = Kontrast feiner Einzelheiten (ISO 12233)
commissioning-curve-leakage = Prozent des Signals der Farbstoffkarte an dieser Stelle
commissioning-curve-sensitivity = Verdünnungsreihe
commissioning-axis-counts = Zählwerte
commissioning-axis-pixels = Pixel
commissioning-axis-x = Pixel nach rechts
commissioning-axis-y = Pixel nach unten
commissioning-axis-signal = Zählwerte über dunkel
commissioning-axis-variance = Varianz, Zählwerte²
commissioning-axis-level = Stufe
commissioning-axis-output = Leistung
commissioning-axis-frequency = Linienpaare je Pixel
commissioning-axis-contrast = Kontrast
commissioning-axis-concentration = Konzentration
commissioning-axis-signal-ms = Signal, Zählwerte/ms
commissioning-series-measured = gemessen
commissioning-series-line = Gerade
commissioning-series-proportional = proportional
commissioning-series-places = Defekte
commissioning-series-share = Anteil
commissioning-mark-sharpness = MTF50
commissioning-mark-sensitivity = Nachweisgrenze
commissioning-of-check-storage = Speicherplatz
commissioning-of-check-clock = Uhr
commissioning-of-check-calibration = Kalibrierung
commissioning-of-check-dark-level = Dunkelwert
commissioning-of-check-new-defects = Neue Defekte
commissioning-of-check-leakage = Streulicht
commissioning-of-check-light-answers = Licht kommt
commissioning-of-check-light-trips = Licht löst aus
commissioning-of-check-supply = Versorgung
commissioning-of-check-light-conditions = Lichtbedingungen
