# Farbstoff eines Falls. Zum Nachschlagen, nie eine Verordnung.
dye-title = Farbstoff in diesem Fall
dye-given = { $mg } mg gegeben ({ $ml } ml, angesetzt wie in der Fachinformation)
dye-limit = { $percent } % der Höchstdosis der Fachinformation von { $mg } mg bei { $kg } kg
dye-limit-unknown = Höchstdosis der Fachinformation: { $limit } mg je kg Körpergewicht. Geben Sie das Körpergewicht ein, dann steht sie neben der Dosis.
dye-limit-reached = Die Höchstdosis der Fachinformation ist erreicht oder überschritten.
dye-meter = Bisherige Dosis neben der Höchstdosis der Fachinformation
dye-left = Etwa { $least } bis { $most } mg können noch im Blut sein, bei Halbwertszeiten von { $shortest } bis { $longest } min: eine Schätzung.
dye-mg = { $mg } mg
dye-no-dose = Dosis nicht eingegeben
dye-left-share = noch etwa { $least } bis { $most } %
dye-from-recording = in einer Aufnahme markiert
dye-typed = eingegeben
dye-ahead = der Uhr des Geräts voraus
dye-without-dose = { $count ->
    [one] 1 Injektion ist ohne Dosis markiert und in keiner Summe enthalten.
   *[other] { $count } Injektionen sind ohne Dosis markiert und in keiner Summe enthalten.
 }
dye-minutes-ago = vor { $minutes } min
dye-hours-ago = vor { $hours } h { $minutes } min
dye-days-ago = vor { $days } Tagen

dye-entries = Dosis oder Körpergewicht eingeben
dye-dose-label = Gegebene Dosis, mg
dye-ago-label = Vor wie vielen Minuten
dye-enter-dose = Dosis eingeben
dye-mass-label = Körpergewicht, kg
dye-enter-mass = Körpergewicht eingeben
dye-entered = { $mg } mg eingegeben.
dye-mass-entered = Körpergewicht { $kg } kg eingegeben.
dye-take-back = Zurücknehmen
dye-take-back-what = Zurücknehmen: { $what }
dye-take-back-question = { $what } zurücknehmen? Beide Einträge bleiben im Protokoll.
dye-taken-back = Zurückgenommen.

dye-cautions = Hinweise
dye-caution-advice = nur zur Information: über jede Dosis entscheiden die Fachinformation des vorliegenden Präparats, örtliche Vorschriften und approbierte Fachleute
dye-caution-limit = Fachinformation: die Gesamtdosis soll unter 2 mg/kg Körpergewicht bleiben
dye-caution-iodide = Fachinformation: enthält bis zu 5 % Natriumiodid; Vorsicht, wo Iodide oder der Farbstoff nicht vertragen werden; schwere Reaktionen kamen auch ohne solche Vorgeschichte vor, deshalb müssen Mittel zu ihrer Behandlung bereitstehen
dye-caution-mixing = Fachinformation: nur mit dem mitgelieferten sterilen Wasser ansetzen, innerhalb von 6 Stunden nach dem Ansetzen verbrauchen, Trübes verwerfen
dye-caution-iodine = Fachinformation: eine Woche lang danach keine Untersuchung der Iodaufnahme
dye-caution-left = der Rest gilt für Farbstoff, der in eine Vene gegeben wurde, bei gesunden Erwachsenen, über etwa 2 bis 20 Minuten: danach sinkt er langsamer, bei kranker Leber viel langsamer; Farbstoff unter der Haut bleibt Stunden und länger
