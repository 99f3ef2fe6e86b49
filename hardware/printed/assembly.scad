// All parts in their places, pulled apart along the optical axis: for looking at, not for printing. Bought parts are drawn as plain
// bodies of about their size. explode = 0 puts the handheld together.
include <dimensions.scad>
use <ring.scad>
use <led_collar.scad>
use <filter_holder.scad>
use <filter_spacer.scad>
use <camera_mount.scad>
use <body.scad>
use <lid.scad>
use <grip.scad>
use <drape_clip.scad>

explode = 1;

axis_height_mm = pad_mm + camera_block_mm / 2;

module around(count, radius) {
    for (i = [0 : count - 1]) rotate(i * 360 / count) translate([radius, 0, 0]) children();
}

module optics() {
    color("DimGray") camera_mount();
    color("SeaGreen") translate([0, 0, -camera_depth_mm - 2 - explode * 14]) rounded_plate([38, 38], 1, 1.6);
    color("Silver") translate([0, 0, -camera_depth_mm - explode * 14]) cylinder(d = 30, h = board_to_lens_front_mm - 4);
    color("White") translate([0, 0, explode * 14]) filter_spacer();
    color("MediumPurple", 0.7) translate([0, 0, filter_pocket_mm - filter_thickness_mm + explode * 18]) cylinder(d = filter_diameter_mm, h = filter_thickness_mm);
    color("SlateGray") translate([0, 0, explode * 30]) filter_holder();
    color("LightSteelBlue") translate([0, 0, explode * 56]) difference() {
        cylinder(r = heat_sink_outer_radius_mm, h = heat_sink_mm);
        translate([0, 0, -1]) cylinder(r = heat_sink_inner_radius_mm, h = 9);
        screw_circle(screw_radius_mm) translate([0, 0, -1]) cylinder(d = m3_clear_mm, h = 9);
    }
    translate([0, 0, heat_sink_mm + explode * 62]) around(leds, ring_radius_mm) {
        color("WhiteSmoke") cylinder(d = led_board_diameter_mm, h = led_board_mm);
        color("DarkRed") cylinder(d = 5, h = led_board_mm + 2);
    }
    color("White") translate([0, 0, heat_sink_mm + led_board_mm + explode * 72]) around(leds, ring_radius_mm) led_collar();
    color("Plum", 0.7) translate([0, 0, ring_front_mm - lip_mm - clean_up_thickness_mm + explode * 78])
        around(leds, ring_radius_mm) cylinder(d = clean_up_diameter_mm, h = clean_up_thickness_mm);
    color("DimGray") translate([0, 0, explode * 92]) ring();
    color("LightSkyBlue", 0.35) translate([0, 0, ring_front_mm + rim_proud_mm + explode * 110]) cylinder(r = ring_outer_radius_mm, h = 0.25);
    color("SteelBlue") translate([0, 0, 2 + explode * 120]) rotate(90) drape_clip();
}

translate([0, mount_front_mm + explode * 20, axis_height_mm]) rotate([-90, 180, 0]) optics();
color("Gainsboro", explode == 0 ? 1 : 0.55) body();
color("LightSlateGray") translate([-26, -body_length_mm / 2 + wall_mm + 6, floor_mm]) cube([52, 106, 26]);
color("SeaGreen") translate([-30, 37.2, floor_mm]) cube([60, 1.6, 45]);
translate([0, 0, body_height_mm + wall_mm + explode * 40]) rotate([0, 180, 0]) {
    color("Gainsboro") lid();
    color("SeaGreen") translate([-28, board_middle_mm - 52.5, wall_mm + 6]) cube([56, 85, 1.6]);
}
translate([0, grip_middle_mm, -explode * 20]) rotate([180, 0, 0]) mirror([0, 1, 0]) {
    color("DimGray") grip();
    color("Gold") translate([0, 12 + explode * 14, 24]) rotate([-90, 0, 0]) cylinder(d = 11, h = 8);
}
