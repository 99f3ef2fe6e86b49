# Koppeln, und wer steuert.
pairing-title = Dieses Tablet koppeln
pairing-word = Wort, das das Gerät anzeigt
pairing-pair = Koppeln
pairing-use-button = Taste am Handgerät benutzen
pairing-caution = Kein zugelassenes Medizinprodukt. Es zeigt relative Intensität, nicht Vitalität. Entscheidungen bleiben bei approbierten Fachleuten und den örtlichen Vorschriften.

pairing-tablets = Tablets
pairing-tablets-open = Tablets, und wer steuert
pairing-ask-control = Um Steuerung bitten
pairing-type-word = Wort eingeben, das das Gerät anzeigt
pairing-invite = Ein Tablet zum Zusehen einladen
pairing-invitation-picture = Code, den die Kamera des anderen Tablets einlesen soll
pairing-leave = Dieses Tablet entkoppeln
pairing-revoke-all = Alle Tablets entkoppeln

pairing-asking = Das Gerät wird gefragt …
pairing-wrong-word = Das ist nicht das Wort. Sehen Sie auf das Gerät und versuchen Sie es noch einmal.
pairing-press-once = Drücken Sie die Taste am Handgerät einmal kurz. { $seconds } s
pairing-not-paired = Nicht gekoppelt: { $why }.

pairing-you-control = Sie steuern
pairing-you-watch = Sie sehen zu
pairing-asks-control = { $who } bittet um die Steuerung.
pairing-give = Abgeben
pairing-keep = Behalten
pairing-asks-to-pair = { $who } möchte sich koppeln. Ein kurzer Druck auf die Taste am Handgerät lässt es zu.
pairing-refuse = Ablehnen
pairing-got-control = Sie steuern.
pairing-asked = Gefragt. Das Tablet, das steuert, muss zustimmen.
pairing-another-asks = Ein anderes Tablet bittet gerade um die Steuerung; versuchen Sie es gleich noch einmal.
pairing-press-for-control = An dem Tablet, das steuert, ist niemand. Drücken Sie kurz die Taste am Handgerät.
pairing-refused = Das Tablet, das steuert, hat abgelehnt.

pairing-this-tablet = dieses Tablet
pairing-controls = steuert
pairing-watches = sieht zu
pairing-by-word = vor { $time } mit dem Wort gekoppelt
pairing-by-button = vor { $time } mit der Taste gekoppelt
pairing-invited = vor { $time } auf Einladung gekoppelt
pairing-not-there = gerade nicht da
pairing-unpair = Entkoppeln
pairing-keep-paired = Behalten
pairing-sure-this = Dieses Tablet entkoppeln?
pairing-sure-all = Alle Tablets entkoppeln, auch dieses?
pairing-sure-one = { $who } entkoppeln?
pairing-scan = Lesen Sie ihn innerhalb { $minutes ->
    [one] einer Minute
   *[other] von { $minutes } Minuten
  } mit der Kamera des anderen Tablets ein. Er gilt einmal.
pairing-stands-controls = Dieses Tablet, { $you }, steuert.
pairing-stands-vacant = Dieses Tablet, { $you }, sieht zu. Kein Tablet steuert.
pairing-stands-watches = Dieses Tablet, { $you }, sieht zu. { $controller } steuert.
pairing-stands-alone = Dieses Tablet, { $you }, sieht zu. { $controller } steuert, aber dort ist niemand.
