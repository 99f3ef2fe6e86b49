// Drape clip: stretches the sterile sleeve's window over the ring like a drum skin. The window touches the baffle's rim, which is the
// foremost surface, so no gap is left that could mirror the LEDs into the lens; the clip itself stays behind that plane.
// Single use or as the sleeve's maker says; it does not make anything sterile. Printed flat.
include <dimensions.scad>

film_mm = 0.25;                   // sleeve, folded once at the edge
band_mm = 2.4;
height_mm = 9;
opening_deg = 14;
bead_mm = 0.6;
bead_height_mm = 5.5 - 2;         // the ring's groove, from the clip's lower edge at 2 mm

inner_radius_mm = ring_outer_radius_mm + film_mm;

module section() {
    translate([inner_radius_mm, 0]) square([band_mm, height_mm]);
    translate([inner_radius_mm, bead_height_mm]) circle(r = bead_mm, $fn = 4);
}

module drape_clip() {
    difference() {
        union() {
            rotate([0, 0, opening_deg / 2]) rotate_extrude(angle = 360 - opening_deg) section();
            // Two ears to spread it with wet gloves.
            for (side = [-1, 1]) rotate(side * (opening_deg / 2 + 2.5)) translate([inner_radius_mm + 0.6, -1.5, 0]) cube([14, 3, height_mm]);
        }
    }
}

drape_clip();
