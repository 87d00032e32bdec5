/** What an adult may lay on the screen to find its scale, and the field it is to cover. Pure. */

import { LARGEST_PX_PER_MM, SMALLEST_PX_PER_MM } from "./scale.mjs";

// ISO/IEC 7810, size ID-1.
export const CARD_MM = [85.6, 53.98];
const RULERS_MM = [100, 50];
const RULER_BREADTH_MM = 14;
// What tablets and phones have today, with a little to spare.
const DENSE_PX_PER_MM = 7;

/**
 * What is laid on the screen, as large as its room allows.
 *
 * @param {"card"|"ruler"} way
 * @param {number} room_px  width of the room for the field [CSS px]
 * @returns {{long_mm: number, across_mm: number, down_mm: number, least_px: number,
 *            most_px: number}}  sides [mm]; bounds of the long side [CSS px]
 */
export function layOut(way, room_px) {
  const { long_mm, across_mm, down_mm } = way === "card" ? card(room_px) : ruler(room_px);
  const most_px = Math.min(LARGEST_PX_PER_MM * long_mm, (room_px / across_mm) * long_mm);
  return { long_mm, across_mm, down_mm, least_px: SMALLEST_PX_PER_MM * long_mm, most_px };
}

/** A card, held upright where the screen is too narrow for its long side. */
function card(room_px) {
  const [long_mm, short_mm] = CARD_MM;
  const upright = room_px < long_mm * DENSE_PX_PER_MM;
  return upright ? { long_mm, across_mm: short_mm, down_mm: long_mm }
    : { long_mm, across_mm: long_mm, down_mm: short_mm };
}

/** As much of a ruler as there is room for. */
function ruler(room_px) {
  const fits = (mm) => mm * DENSE_PX_PER_MM <= room_px;
  const long_mm = RULERS_MM.find(fits) ?? RULERS_MM.at(-1);
  return { long_mm, across_mm: long_mm, down_mm: RULER_BREADTH_MM };
}

/** How much longer the long side is when the handle was moved [CSS px]. */
export function longerBy({ long_mm, across_mm, down_mm }, { right_px, down_px, way }) {
  const wider_px = (right_px * long_mm) / across_mm;
  if (way === "ruler") return wider_px;
  const taller_px = (down_px * long_mm) / down_mm;
  return Math.abs(wider_px) > Math.abs(taller_px) ? wider_px : taller_px;
}
