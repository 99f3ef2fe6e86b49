# Farbstoff eines Falls. Zum Nachschlagen, nie eine Verordnung.
dye-title = Farbstoff in diesem Fall
dye-given = { $mg } mg gegeben ({ $ml } ml, wenn wie in der Fachinformation angesetzt, { $concentration } mg/ml)
dye-given-at-least = Mindestens { $mg } mg gegeben ({ $ml } ml, wenn wie in der Fachinformation angesetzt, { $concentration } mg/ml)
dye-limit = { $percent } % der Höchstdosis der Fachinformation von { $mg } mg bei { $kg } kg
dye-limit-at-least = Mindestens { $percent } % der Höchstdosis der Fachinformation von { $mg } mg bei { $kg } kg
dye-limit-unknown = Höchstdosis der Fachinformation: { $limit } mg je kg Körpergewicht. Geben Sie das Körpergewicht ein, dann steht sie neben der Dosis.
dye-meter = Bisherige Dosis neben der Höchstdosis der Fachinformation
dye-left = Etwa { $left } mg können noch im Blut sein, bei Halbwertszeiten von { $shortest } bis { $longest } min: eine Schätzung.
dye-mg = { $mg } mg
dye-no-dose = Dosis nicht eingegeben
dye-left-share = noch etwa { $left } %
dye-range = { $least } bis { $most }
dye-from-recording = in einer Aufnahme markiert
dye-typed = eingegeben
dye-ahead = der Uhr des Geräts voraus
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
dye-enter-its-dose = Dosis dazu eingeben
dye-take-back = Zurücknehmen
dye-take-back-what = Zurücknehmen: { $what }
dye-take-back-question = { $what } zurücknehmen? Beide Einträge bleiben im Protokoll.
dye-taken-back = Zurückgenommen.

dye-cautions = Hinweise
