// Last: the first selection is everything, and the address may name a stop.
stopsheet.stops.clear();
stopsheet.filters.begin();
stopsheet.drawer.begin();
