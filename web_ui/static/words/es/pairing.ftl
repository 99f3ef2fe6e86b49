# Emparejar, y quién controla.
pairing-title = Emparejar esta tableta
pairing-word = Palabra que muestra el aparato
pairing-pair = Emparejar
pairing-use-button = Usar el botón del aparato
pairing-caution = No es un producto sanitario certificado. Muestra la intensidad relativa, no la viabilidad. Las decisiones corresponden a profesionales autorizados y a las normas locales.

pairing-tablets = Tabletas
pairing-tablets-open = Tabletas, y quién controla
pairing-ask-control = Pedir el control
pairing-type-word = Escribir la palabra que muestra el aparato
pairing-invite = Invitar a una tableta a mirar
pairing-invitation-picture = Código que debe leer la cámara de la otra tableta
pairing-leave = Desemparejar esta tableta
pairing-revoke-all = Desemparejar todas las tabletas

pairing-asking = Preguntando al aparato …
pairing-wrong-word = No es esa la palabra. Mire el aparato e inténtelo de nuevo.
pairing-press-once = Pulse una vez, brevemente, el botón del aparato. { $seconds } s
pairing-not-paired = No se emparejó: { $why }.

pairing-you-control = Usted controla
pairing-you-watch = Usted mira
pairing-asks-control = { $who } pide el control.
pairing-give = Ceder el control
pairing-keep = Conservarlo
pairing-asks-to-pair = { $who } pide emparejarse. Una pulsación breve del botón del aparato lo permite.
pairing-refuse = Rechazar
pairing-got-control = Usted controla.
pairing-asked = Pedido. La tableta que controla tiene que aceptar.
pairing-another-asks = Otra tableta está pidiendo el control; inténtelo de nuevo dentro de un momento.
pairing-press-for-control = No hay nadie ante la tableta que controla. Pulse brevemente el botón del aparato.
pairing-refused = La tableta que controla ha dicho que no.

pairing-this-tablet = esta tableta
pairing-controls = controla
pairing-watches = mira
pairing-by-word = emparejada con la palabra hace { $time }
pairing-by-button = emparejada con el botón hace { $time }
pairing-invited = emparejada por invitación hace { $time }
pairing-not-there = ahora no hay nadie
pairing-unpair = Desemparejar
pairing-keep-paired = Conservar
pairing-sure-this = ¿Desemparejar esta tableta?
pairing-sure-all = ¿Desemparejar todas las tabletas, también esta?
pairing-sure-one = ¿Desemparejar { $who }?
pairing-scan = Léalo con la cámara de la otra tableta en { $minutes ->
    [one] un minuto
   *[other] { $minutes } minutos
  }. Sirve una sola vez.
pairing-stands-controls = Esta tableta, { $you }, controla.
pairing-stands-vacant = Esta tableta, { $you }, mira. Ninguna tableta controla.
pairing-stands-watches = Esta tableta, { $you }, mira. { $controller } controla.
pairing-stands-alone = Esta tableta, { $you }, mira. { $controller } controla, pero allí no hay nadie.
