# Casos, y lo que se grabó en ellos.
recordings-place = Grabaciones
recordings-about = Casos y grabaciones, colorante administrado, exportar, comparar
recordings-back = Todos los casos

recordings-open-case = Caso abierto
recordings-open-case-about = Todo lo que se grabe a partir de ahora es de este caso. Un caso es un código, nunca un nombre.
recordings-no-open-case = Ninguno
recordings-not-known = no se sabe
recordings-new-case = Caso nuevo { $code }
recordings-close-case = Cerrar el caso
recordings-another-code = Otro código
recordings-case-label = Código del caso
recordings-open-this = Abrir
recordings-open-this-case = Abrir este caso
recordings-open-word = abierto
recordings-case-opened = El caso { $code } está abierto.
recordings-case-closed = No hay ningún caso abierto.
recordings-put-back = Deshacer

recordings-find = Buscar un caso o una grabación
recordings-find-day = Día
recordings-show-found = Mostrar
recordings-cases = Casos
recordings-more-cases = Más casos
recordings-all = Todas las grabaciones
recordings-found = Grabaciones encontradas
recordings-no-case = Sin caso
recordings-count = { $count ->
    [one] 1 grabación
   *[other] { $shown } grabaciones
 }
recordings-unread = Aún se están revisando { $count } más.
recordings-pages = Páginas de la lista
recordings-range = { $first } a { $last } de { $total }
recordings-newer = Más recientes
recordings-older = Más antiguas

recordings-teach = Todavía no hay nada grabado. Abra aquí un caso, vaya a En vivo y toque «Grabar» o «Colorante»: la grabación aparecerá aquí para verla de nuevo, compararla y exportarla.
recordings-empty-case = Este caso aún no tiene grabaciones. Ábralo, vaya a En vivo y toque «Grabar».
recordings-nothing-found = Nada coincide. Quite el día o parte del código.

recordings-date-unknown = fecha desconocida
recordings-gaps = { $count ->
    [one] 1 hueco
   *[other] { $count } huecos
 }
recordings-cut-off = interrumpida, se abre igualmente
recordings-running = se está grabando
recordings-choose = Elegir { $what }
recordings-more = Más
recordings-more-about = Más sobre { $what }
recordings-change-case = Cambiar el caso
recordings-new-case-label = Código del caso
recordings-change-case-yes = Cambiar
recordings-case-changed = La grabación es ahora de: { $case }.
recordings-leave-it = Dejarlo así
recordings-remove = Quitar
recordings-remove-question = ¿Quitar { $what }? Se puede recuperar hasta que el equipo necesite su espacio.
recordings-remove-yes = Sí, quitar
recordings-remove-no = Conservar
recordings-removed-one = Quitada: { $what }.
recordings-bring-back = Recuperar
recordings-bring-back-what = Recuperar { $what }
recordings-is-back = La grabación vuelve a estar en la lista.

recordings-removed = Quitadas: { $count }
recordings-removed-about = Se pueden recuperar. Mientras queden libres menos de { $room }, se borra definitivamente la que se quitó hace más tiempo.
recordings-removed-at = quitada el { $when }
recordings-forget = Borrarlas todas definitivamente
recordings-forget-question = { $count ->
    [one] ¿Borrar 1 grabación definitivamente? Nada la recupera.
   *[other] ¿Borrar { $shown } grabaciones definitivamente? Nada las recupera.
 }
recordings-forget-yes = Borrar definitivamente
recordings-storage = Espacio libre: { $room }

recordings-chosen-bar = Qué se hace con las grabaciones elegidas
recordings-chosen = { $count ->
    [one] 1 elegida. Elija otra para comparar.
   *[other] { $count } elegidas
 }
recordings-chosen-two = 2 elegidas
recordings-compare = Comparar
recordings-export = Exportar
recordings-choose-none = No elegir ninguna
