# Lo que dice cada lugar: la barra de estado, la hoja de lugares, los avisos de la propia página.
page-places = Secciones
page-close = Cerrar
page-this-tablet = Esta tableta
page-language = Idioma
page-theme = Colores de la página
page-theme-dark = Oscuro, para el quirófano a oscuras
page-theme-bright = Claro, bajo la lámpara
page-state = Estado del aparato
page-place-failed = No se pudo abrir esta sección. Compruebe que el aparato está encendido y cerca e inténtelo de nuevo.

page-live = En vivo
page-not-live = NO EN VIVO
page-back-to-live = volver a la imagen
page-light-on = Luz al { $level }
page-light-ready = Luz lista
page-light-off = Luz apagada
page-light-tripped = Luz bloqueada
page-light-no-answer = Luz: sin respuesta
page-light-not-known = Luz: no se sabe
page-light-put-out = toque: apagar la luz
page-light-at-live = se enciende en «En vivo»
page-recording = Grab. { $time }
page-not-recording = Sin grabar
page-recording-not-known = Grab.: no se sabe
page-dye = Colorante { $time }
page-no-dye = Aún sin colorante
