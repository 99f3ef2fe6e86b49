# Grabaciones como archivos para otros programas.
export-place = Exportar
export-about = Grabaciones como archivos, a una memoria USB
export-teach = Elija primero las grabaciones: toque la casilla junto a cada una y después «Exportar».
export-choose = Elegir grabaciones
export-choose-others = Elegir otras
export-what = Grabaciones
export-missing = No están, o aún se están grabando, y se omiten: { $what }
export-files = Archivos
export-csv = Tablas
export-csv-about = Curvas, cifras, fotogramas y sucesos, para una hoja de cálculo
export-png = Imágenes
export-png-about = Imágenes fijas con su leyenda
export-mp4 = Vídeo
export-mp4-about = La imagen tal como se vio, con su leyenda; dice dónde la luz estaba apagada
export-maps = Mapas de la entrada
export-maps-about = Imágenes con leyenda, valores en TIFF, una tabla
export-tiff = Fotogramas sin procesar
export-tiff-about = Cada fotograma tal como se midió, TIFF de 16 bits, para investigación
export-language = Leyendas, pies de imagen y advertencias hablan el idioma de esta página; las tablas están en inglés, para otros programas.
export-about-size = unos { $size }
export-where = Dónde
export-no-drive = No hay ninguna memoria USB conectada. Conecte una: aparecerá aquí por sí sola.
export-folder = Una carpeta del equipo
export-folder-about = para quien se ocupa del equipo
export-folder-label = Ruta de la carpeta
export-drive-free = { $free } libres
export-drive-read-only = solo se puede leer: quite la protección contra escritura
export-drive-gone = no responde: desconéctela y vuelva a conectarla
export-needs = Se escribirán unos { $size }.
export-needs-of = Se escribirán unos { $size }; hay { $free } libres.
export-no-room = No cabe: elija menos archivos u otra memoria.
export-start = Exportar
export-caution = Un código de caso sustituye al paciente: compruebe que ninguna imagen ni nota identifique a nadie antes de que los archivos salgan. No es un producto sanitario certificado.
export-jobs = Exportaciones
export-progress = Progreso de la exportación
export-stop = Detener
export-writing = Escribiendo { $what } en { $where }
export-written = { $count ->
    [one] Escrito en { $where }
   *[other] { $count } grabaciones escritas en { $where }
 }
export-was-stopped = Detenida, en { $where }
export-failed = No se pudo escribir todo en { $where }
export-nothing-left = Allí no queda nada a medias y aquí no se ha perdido nada: puede empezar de nuevo cuando quiera.
export-whole-stay = Las grabaciones completas se quedan allí, no queda nada a medias y aquí no se ha perdido nada.
export-checked = { $count ->
    [one] 1 archivo, { $size }, releído y comparado. manifest.json lo recoge con su suma de comprobación.
   *[other] { $count } archivos, { $size }, releídos y comparados. manifest.json recoge cada uno con su suma de comprobación.
 }
export-pull-written = Todo está en la memoria USB, leído de nuevo, y nada queda por escribir: ya se puede sacar. Quizá un ordenador ofrezca comprobarla, pues el aparato no tiene permiso para expulsarla.
export-pull = Ahora no se escribe nada en la memoria USB y nada queda pendiente: se puede sacar.
export-pull-not-known = La memoria USB no confirma que todo haya llegado. Apague el aparato antes de sacarla y después revísela en un ordenador.
export-notes = Notas
