// Camera mount: camera board behind, lens inside, filter holder and ring in front; every other part is measured from it.
// Printed front face down. The arms leave the heat sink's back free.
include <dimensions.scad>

plate_mm = 5;
arm_width_mm = 12;
web_mm = 1.6;

module camera_mount() {
    difference() {
        union() {
            translate([0, 0, -plate_mm]) cylinder(r = heat_sink_inner_radius_mm + 2, h = plate_mm);
            screw_circle(0) translate([0, 0, -plate_mm]) hull() {
                translate([heat_sink_inner_radius_mm - 8, 0, 0]) cylinder(d = 20, h = plate_mm);
                translate([screw_radius_mm, 0, 0]) cylinder(d = arm_width_mm, h = plate_mm);
            }
            translate([0, 0, -camera_depth_mm]) rounded_plate([camera_block_mm, camera_block_mm], 4, camera_depth_mm);
        }
        // Light enters through a web that keeps filter and spacer in.
        translate([0, 0, -camera_depth_mm - 1]) cylinder(d = lens_bore_mm, h = camera_depth_mm + 1 - web_mm);
        translate([0, 0, -camera_depth_mm]) cylinder(d = lens_window_mm, h = camera_depth_mm + 1);
        translate([0, 0, -camera_depth_mm - 1]) rectangle_of([camera_pattern_mm, camera_pattern_mm]) cylinder(d = m25_pilot_mm, h = 11);
        translate([0, 0, -plate_mm - 1]) screw_circle(screw_radius_mm) cylinder(d = m3_insert_mm, h = plate_mm + 2);
        // Window above the lens, to focus with filter and ring in place; the body's lid covers it.
        translate([-7, 0, -camera_depth_mm + 12]) cube([14, camera_block_mm, 16]);
        // Underside: two inserts for the screws from the body.
        for (z = [-12, -32]) translate([0, -camera_block_mm / 2 - 1, z]) rotate([-90, 0, 0]) cylinder(d = m3_insert_mm, h = 5);
    }
}

rotate([180, 0, 0]) camera_mount();
