#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Benches for the study of the reasons that share no code and no model with Pin16: ngspice solves the wires, the
behaviour is written here. usage: ngspice_truths.py OUT.jsonl [--seed N] [--inside N] [--outside N]

One JSON object a line: arrangement, cause (an id of the catalogue, or "outside:NAME"), readings by id. Volts, amperes,
ohms; "OL" is an open circuit; words for what eyes and programs tell. No noise, nothing missing, nothing wrong: the study
adds that. In every bench the module does not answer the usual request.

Parasitics that the reasoner's model need not have: a contact at each joint, insulation that leaks, copper that warms up,
a fuse whose resistance grows with its load, a second ground path, the meter's own 10 Mohm, loads that do not matter.
Ranges are invented (estimates), wider than the reasoner's on purpose; none was chosen by looking at its results.
"""
import argparse
import json
import math
import random
import re
import subprocess
import sys
import tempfile

ARRANGEMENTS = ("own-battery", "fed-in-place", "removed")
OPEN = 5e8
OL_OHM = 2e7
METER_OHM = 1e7
JOINTS = """main ign modfuse modfuse2 clip rigfuse rig splice modwire modpin modgnd connfuse connfuse2 cfwire pin16 pin4 pin5
 gndpost strap ifplus ifminus feed2 gwfuse gwgnd stubh stubl trunkh trunkl""".split()


def near(rng, middle, spread):
    """Lognormal with heavy sides: one in ten is drawn twice as wide."""
    return middle * math.exp(rng.gauss(0, spread * (2 if rng.random() < 0.1 else 1)))


# The deck for what the module does.
DECKS = {"off": "idle", "asleep": "sleep", "running": "run", "cycling": "cycle", "starved": "start"}


class Bench:
    def __init__(self, rng, arrangement, cause):
        self.rng, self.arrangement, self.cause = rng, arrangement, cause
        self.car = arrangement != "removed"
        self.own = arrangement == "own-battery"
        r = self.r = {}  # name -> [node, node, ohm]
        warm = near(rng, 1.0, 0.12)
        joint = {j: near(rng, 0.006, 0.7) for j in JOINTS}
        lead = lambda middle: near(rng, middle, 0.35) * warm
        fuse = lambda rating: near(rng, 0.1 / rating, 0.3) * (1 + 0.3 * rng.random())
        self.emf = rng.triangular(12.2, 12.9, 12.6) if self.own or rng.random() < 0.5 else rng.triangular(12.0, 14.2, 13.2)
        self.rint = near(rng, 0.015 if self.own else 0.04, 0.6)
        self.limit = 500.0 if self.own else rng.choice((500.0, near(rng, 6, 0.3)))
        self.ripple = near(rng, 0.006, 0.8)
        self.label = "battery or lab supply" if rng.random() < 0.85 else "pack with automatic cut-off"
        # Supply.
        if self.own:
            r["main"] = ["srcp", "bar", lead(0.006) + joint["main"]]
            r["modfuse"] = ["bar", "slotload", fuse(10) + joint["modfuse"] + joint["modfuse2"]]
            r["connsup"] = ["bar", "cfs", lead(0.02)]
            r["feed2"] = ["bar", "feed2", lead(0.05) + joint["ign"]]
            r["gwfeed"] = ["bar", "gwf", lead(0.04) + joint["gwfuse"]]
        else:
            r["rigfuse"] = ["srcp", "rf", fuse(7.5) + joint["rigfuse"]]
            r["rig"] = ["rf", "clip", lead(0.06) + joint["rig"]]
            r["bite"] = ["clip", "slotload", joint["clip"]]
            r["connsup"] = ["clip", "cfs", lead(0.05) + joint["splice"]]
            r["feed2"] = ["clip", "feed2", lead(0.06) + joint["feed2"]]
            r["gwfeed"] = ["clip", "gwf", lead(0.06) + joint["gwfuse"]]
            if self.car:
                r["bar"] = ["bar", "chassis", OPEN]
        r["modwire"] = ["slotload", "modp", lead(0.08) + joint["modwire"] + joint["modpin"]]
        r["connfuse"] = ["cfs", "cfl", (fuse(15) if self.car else 0.001) + joint["connfuse"] + joint["connfuse2"]]
        r["cfwire"] = ["cfl", "p16", lead(0.09) + joint["cfwire"] + joint["pin16"]]
        r["ifplus"] = ["p16", "ifp", joint["ifplus"]]
        # Ground: sm is the source's minus.
        r["strap"] = ["chassis", "sm", lead(0.008 if self.own else 0.03) + joint["strap"]]
        r["modgnd"] = ["modg", "chassis", lead(0.02) + joint["modgnd"]]
        r["pin4"] = ["p4", "chassis", lead(0.03) + joint["pin4"]]
        r["pin5"] = ["p5", "chassis", lead(0.04) + joint["pin5"]]
        self.by_pin5 = rng.random() < 0.15
        r["ifminus"] = ["ifg", "p5" if self.by_pin5 else "p4", joint["ifminus"]]
        r["usb"] = ["ifg", "chassis", near(rng, 0.5, 0.5) if rng.random() < 0.08 else near(rng, 3e6, 0.8)]
        r["gwgnd"] = ["gwg", "chassis", lead(0.03) + joint["gwgnd"]]
        for node in ("slotload", "p16", "cfl", "feed2", "gwf", "h", "l", "dh", "dl"):
            r["leak_" + node] = [node, "chassis", near(rng, 2e6, 0.8)]
        r["leak_pins"] = ["p16", "dh", near(rng, 8e6, 0.8)]
        # Outlet: on the connector's fuse or on its own.
        self.shared_outlet = self.car and rng.random() < 0.5
        r["outlet"] = ["cfl" if self.shared_outlet else "cfs", "out", near(rng, 0.05, 0.4)]
        # Bus: the connector's segment dh/dl, the module's h/l; without gateway both are one.
        self.gateway = self.car and rng.random() < 0.4
        self.module_terminates = rng.random() < (0.3 if self.car else 0.5)
        r["stubh"] = ["p6", "dh", joint["stubh"] + 0.05]
        r["stubl"] = ["p14", "dl", joint["stubl"] + 0.05]
        r["joinh"] = ["dh", "h", OPEN if self.gateway else 0.08]
        r["joinl"] = ["dl", "l", OPEN if self.gateway else 0.08]
        r["modh"] = ["h", "mh", near(rng, 0.15, 0.4) + joint["trunkh"]]
        r["modl"] = ["l", "ml", near(rng, 0.15, 0.4) + joint["trunkl"]]
        end = lambda: near(rng, 120, 0.015)
        r["end1"] = ["dh", "dl", end()]
        if self.module_terminates:
            r["end2"] = ["mh", "ml", end()]
        else:
            r["end2"] = ["h" if not self.gateway else "dh", "l" if not self.gateway else "dl", end()]
        if self.gateway:
            r["end3"] = ["h", "l", end()]
            if not self.module_terminates:
                r["end4"] = ["h", "l", end()]
            else:
                r["end2d"] = ["dh", "dl", end()]
        # Loads in ohms when on; the off resistance of the same inputs.
        self.others = self.car and not self.gateway and rng.random() < 0.8
        self.module_off_ohm = near(rng, 2e4, 0.8)
        self.if_w = near(rng, 1.5, 0.5)
        self.gw_ohm = near(rng, 60, 0.4)
        self.bar_ohm = near(rng, 6, 0.5)  # everything else on the bus bar, awake
        self.run_w = near(rng, 3.2, 0.45)
        self.start_w = self.run_w * (1.6 + 1.6 * rng.random())
        self.boot_v = rng.triangular(7.0, 9.5, 8.2)
        self.brown_v = self.boot_v - 0.5 - rng.random()
        self.sends = rng.random() < 0.65
        self.bias_ohm = near(rng, 3e4, 0.3)
        # Behaviour: what the causes below switch.
        self.asleep = self.dead = self.resets = self.silent = self.locked = self.slow = False
        self.trx_dead = self.busoff = self.jammed = self.tester = self.early = False
        self.need_feed2 = rng.random() < 0.5
        self.swapped = self.listen = self.wrong_rate = self.wrong_pair = self.kline = False
        self.id_size = self.address = self.filters = self.reversed = self.cuts = False
        self.if_dead = self.if_contact = self.if_bus = self.port = self.ignition_off = False
        self.two_sources = self.polarity = self.rating_small = False
        self.collapse = rng.random() < 0.7
        self.slot = "right"
        self.limits_seen = {}
        self.signs = self.own
        getattr(self, "make_" + cause.replace("outside:", "x-").replace("-", "_"))()

    def open(self, *names):
        for name in names:
            self.r[name][2] = near(self.rng, 2e7, 0.8) if self.rng.random() < 0.3 else OPEN

    def poor(self, name, low, high):
        self.r[name][2] += math.exp(self.rng.uniform(math.log(low), math.log(high)))

    def short(self, a, b):
        self.r["short"] = [a, b, math.exp(self.rng.uniform(math.log(0.02), math.log(8)))]

    # ---- causes of the catalogue
    def make_source_flat(self):
        self.emf, self.rint = self.rng.uniform(8.5, 11.6), near(self.rng, 0.4, 0.7)

    def make_source_off(self):
        self.rint = OPEN

    def make_pack_shuts_off(self):
        self.cuts, self.label = True, "pack with automatic cut-off"

    def make_limit_too_low(self):
        self.limit = self.rng.uniform(0.04, 0.8) * self.run_w / 12 + self.if_w / 12 * self.rng.random()

    def make_inrush_trips(self):
        low, high = self.run_w / self.emf, self.start_w / self.emf
        self.limit = self.if_w / self.emf + low + (high - low) * self.rng.uniform(0.1, 0.8)

    def make_source_over(self):
        self.emf = self.rng.uniform(17.5, 29)

    def make_source_reversed(self):
        self.polarity = True

    def make_source_ripple(self):
        self.ripple, self.label = self.rng.uniform(0.4, 2.4), "charger"

    def make_rig_fuse_open(self):
        self.open("rigfuse")

    def make_rig_fuse_small(self):
        self.open("rigfuse")
        self.rating_small = True

    def make_feed_lead_open(self):
        self.open("rig")

    def make_feed_lead_thin(self):
        self.poor("rig", 4, 20)

    def make_supply_side_feed(self):
        self.r["bite"][1] = "bar"
        self.slot, self.signs = "other side", self.rng.random() < 0.6

    def make_wrong_slot(self):
        self.r["bite"][1] = "elsewhere"
        self.r["elsewhere"] = ["elsewhere", "chassis", near(self.rng, 12, 1)]
        self.slot, self.signs = "other slot", self.rng.random() < 0.4

    def make_module_fuse_open(self):
        self.open("modfuse")

    def make_module_feed_open(self):
        self.open("modwire")

    def make_module_feed_poor(self):
        self.poor("modwire", 6, 40)

    def make_second_feed_missing(self):
        self.need_feed2 = True
        self.open("feed2")

    def make_wake_missing(self):
        self.asleep = True

    make_module_asleep = make_wake_missing

    def make_ignition_off(self):
        self.ignition_off, self.signs = True, False
        self.open("feed2")

    def make_conn_fuse_open(self):
        self.open("connfuse")
        self.r["outlet"][0] = "cfs"

    def make_shared_fuse_outlet(self):
        self.open("connfuse")
        self.r["outlet"][0] = "cfl"

    def make_conn_not_fed(self):
        self.open("connsup")

    def make_pin16_open(self):
        self.open("cfwire")

    def make_clamp_poor(self):
        self.poor("strap", 4, 40)

    def make_clamp_open(self):
        self.open("strap")

    def make_vehicle_ground_poor(self):
        self.poor("strap", 1.5, 8)

    def make_pin4_open(self):
        self.open("pin4")
        self.by_pin5 = False
        self.r["ifminus"][1] = "p4"

    def make_pin5_open(self):
        self.open("pin5")
        self.by_pin5 = True
        self.r["ifminus"][1] = "p5"

    def make_module_ground_open(self):
        if self.rng.random() < 0.6:
            self.open("modgnd")
        else:
            self.poor("modgnd", 5, 60)

    def make_two_sources_floating(self):
        self.two_sources = True

    def make_ground_offset(self):
        self.r["offset"] = ["chassis", "p4mid", near(self.rng, 0.4, 0.3)]
        self.r["pin4"][1] = self.r["pin5"][1] = "p4mid"
        self.offset_a = self.rng.uniform(7, 20)

    def make_canh_short_gnd(self):
        self.short("dh", "chassis")

    def make_canh_short_bat(self):
        self.short("dh", "cfs")

    def make_canl_short_gnd(self):
        self.short("dl", "chassis")

    def make_canl_short_bat(self):
        self.short("dl", "cfs")

    def make_can_short_hl(self):
        self.short("dh", "dl")

    def make_canh_open_conn(self):
        self.open("stubh")

    def make_canl_open_conn(self):
        self.open("stubl")

    def make_canh_open_mod(self):
        self.open("modh")

    def make_canl_open_mod(self):
        self.open("modl")

    def make_can_swapped(self):
        self.swapped = True

    def ends(self, count):
        for name in [n for n in self.r if n.startswith("end")]:
            self.r[name][2] = OPEN
        for i in range(count):
            self.r[f"end_{i}"] = ["dh", "dl", near(self.rng, 120, 0.015)]

    def make_term_none(self):
        self.gateway = False
        self.r["joinh"][2] = self.r["joinl"][2] = 0.08
        self.ends(0)

    def make_term_one(self):
        self.make_term_none()
        self.ends(1)

    def make_term_extra(self):
        self.make_term_none()
        self.ends(self.rng.choice((3, 4, 5)))

    def make_bus_leak(self):
        self.poor("leak_" + self.rng.choice("hl"), 1, 1.1)
        ohm = math.exp(self.rng.uniform(math.log(20), math.log(400)))
        a = self.rng.choice(("dh", "dl"))
        self.r["wet"] = [a, self.rng.choice(("chassis", "cfs", "dl" if a == "dh" else "dh")), ohm]

    def make_bus_jammed(self):
        self.jammed = True

    def make_wrong_bit_rate(self):
        self.wrong_rate = True

    def make_wrong_pair(self):
        self.wrong_pair = True
        self.others = self.car and self.rng.random() < 0.5

    def make_wrong_protocol(self):
        self.kline = True

    def make_wrong_id_size(self):
        self.id_size = True

    def make_wrong_address(self):
        self.address = True

    def with_gateway(self):
        if not self.gateway:
            self.gateway, self.others = True, False
            self.r["joinh"][2] = self.r["joinl"][2] = OPEN
            self.r["end3"] = ["h", "l", near(self.rng, 60, 0.02)]
            self.r["end2"] = ["dh", "dl", near(self.rng, 120, 0.015)]  # the connector's segment has two ends of its own

    def make_gateway_unpowered(self):
        self.with_gateway()
        self.open("gwfeed")

    def make_gateway_filters(self):
        self.with_gateway()
        self.filters = True

    def make_listen_only(self):
        self.listen = True

    def make_other_tester(self):
        self.tester = True

    def make_module_slow(self):
        self.slow = True

    def make_module_locked(self):
        self.locked = True

    def make_module_busoff(self):
        self.busoff = True

    def make_module_dead_open(self):
        self.dead, self.module_off_ohm = True, OPEN

    def make_module_dead_short(self):
        self.dead, self.module_off_ohm = True, self.rng.uniform(0.1, 6)

    def make_module_trx_dead(self):
        self.trx_dead = True

    def make_module_stuck(self):
        self.silent, self.sends = True, False

    def make_module_resets(self):
        self.resets = True

    def make_asked_too_early(self):
        self.early = True

    def make_interface_dead(self):
        self.if_dead = True

    def make_interface_contact(self):
        self.if_contact = True
        self.open(self.rng.choice(("ifplus", "ifminus")))

    def make_interface_bus_dead(self):
        self.if_bus = True

    def make_wrong_port(self):
        self.port = True

    # ---- causes that no catalogue holds
    def make_x_chafed_feed(self):
        """The feed wire touches the body: some amperes leave before the module, which starves."""
        self.poor("modwire", 4, 10)
        self.r["chafed"] = ["modp", "chassis", self.rng.uniform(2, 6)]

    def make_x_lamp_in_feed(self):
        """Somebody put a test lamp in series with the connector's feed."""
        self.poor("cfwire", 25, 60)
        self.poor("modwire", 25, 60)

    def make_x_wrong_module(self):
        """Another unit sits in its place: takes half an ampere more, sends on other identifiers, never answers."""
        self.run_w, self.silent, self.sends = self.run_w * 3, True, False
        self.others = True

    def make_x_wet_connector(self):
        """Water in the connector: pin 16 leaks into both bus wires and to the body."""
        for name, a, b in (("wet1", "p16", "dh"), ("wet2", "p16", "dl"), ("wet3", "dh", "chassis")):
            self.r[name] = [a, b, self.rng.uniform(40, 160)]

    def make_x_series_bus(self):
        """Crushed pair: some hundred ohms in both wires at once."""
        self.poor("stubh", 150, 500)
        self.poor("stubl", 150, 500)

    def make_x_usb_back_feed(self):
        """Pin 16 is open, and the computer feeds the interface backwards: its lamp is lit, pin 16 shows some volts."""
        self.open("cfwire")
        self.usb_volts = self.rng.uniform(3.9, 5.1)
        self.if_bus = True

    def make_x_back_fed(self):
        """A second pack, forgotten on the connector's fuse, feeds the connector at 9 to 10 V."""
        self.open("connsup")
        self.second_pack = self.rng.uniform(5.0, 7.5)

    def make_x_filter_choke(self):
        """An interference filter sits on the bus: it answers the meter as it should and swallows every edge."""
        self.swallow = True
        self.r["choke"] = ["dh", "dl", self.rng.uniform(90, 200)]

    # ---- wires
    def limited(self, state):
        """Does the supply's limit hold the current in this state? Then it is a source of current."""
        if self.limit > 400:
            return False
        if state not in self.limits_seen:
            a, b, ohm = self.r["rigfuse"]
            amps = self.solve(self.deck(state, limited=False), [("i", [], f"(v({a})-v({b}))/{ohm:.6g}")])["i"]
            self.limits_seen[state] = abs(amps) > self.limit
        return self.limits_seen[state]

    def deck(self, state, limited=None):
        """state: off, source, lamp; idle, start, run, sleep, cycle (what a meter shows of a module that starts again
        and again)."""
        lines = ["* bench", ".options gmin=1e-12 reltol=1e-5"]
        on = state not in ("off", "source", "lamp")
        table = {k: list(v) for k, v in self.r.items()}
        if state in ("off", "source", "lamp"):
            table.pop("ifplus"), table.pop("ifminus"), table.pop("usb")
            lines.append("rifp ifp ifg 1e6\nrifg ifg chassis 1e9")
        for name, (a, b, ohm) in table.items():
            lines.append(f"r{name} {a} {b} {max(ohm, 1e-4):.6g}")
        if on:
            sign = -1 if self.polarity else 1
            limited = self.limited(state) if limited is None else limited
            if limited:
                lines.append(f"isrc sm srcp {sign * self.limit:.6g}\nrshunt srcp sm 2000")
            else:
                lines.append(f"vsrc emf sm {sign * self.emf:.6g}\nrsrc emf srcp {self.rint:.6g}")
            start_v = sign * (0.3 if limited else self.emf)  # what a limit holds has collapsed
            lines.append(".nodeset " + " ".join(f"v({n})={start_v:.4g}" for n in ("srcp", "clip", "slotload", "modp", "ifp")))
        elif state in ("source", "lamp"):
            sign = -1 if self.polarity else 1
            lines.append(f"vsrc emf sm {sign * self.emf:.6g}\nrsrc emf srcp {self.rint:.6g}")
            for name in ("rmain", "rrigfuse"):
                lines = [x for x in lines if not x.startswith(name + " ")]
            if state == "lamp":
                lines.append(f"rlamp srcp sm {near(random.Random(self.rint), 2.6, 0.08):.4g}")
        lines.append("rsrcoff srcp sm 1e8\nrref sm 0 0.001")
        # What is fed.
        if on:
            lines.append(f"bif ifp ifg i={self.if_w:.4g}*v(ifp,ifg)/(v(ifp,ifg)*v(ifp,ifg)+9)" if not self.if_dead
                         else "rif ifp ifg 2e5")
            watt = {"idle": 0.02, "start": self.start_w, "run": self.run_w, "sleep": 0.006,
                    "cycle": 0.35 * self.start_w}[state]
            if self.dead:
                lines.append(f"rmod modp modg {self.module_off_ohm:.6g}")
            elif self.polarity:
                lines.append("rmod modp modg 1e6")
            else:
                lines.append(f"bmod modp modg i={1.1 * watt:.4g}*v(modp,modg)/"
                             f"(v(modp,modg)*v(modp,modg)+{0.15 * self.brown_v ** 2:.4g})")
            if self.gateway:
                lines.append(f"rgw gwf gwg {self.gw_ohm:.4g}")
            else:
                lines.append("rgw gwf gwg 1e6")
            lines.append(f"rrest bar chassis {self.bar_ohm if self.car else 1e7:.4g}")
        else:
            lines.append(f"rmod modp modg {self.module_off_ohm:.6g}\nrgw gwf gwg {2e4 if self.gateway else 1e9:.4g}")
            lines.append(f"rrest bar chassis {near(random.Random(self.emf), 300, 0.5) if self.car else 1e7:.4g}")
        if getattr(self, "offset_a", 0) and on:
            lines.append(f"ioff chassis p4mid {self.offset_a / 2:.4g}")
        if getattr(self, "usb_volts", 0) and on:
            lines.append(f"vusb us ifg {self.usb_volts:.4g}\nrusbfeed us ifp 3")
        if getattr(self, "second_pack", 0) and on:
            lines.append(f"vpack pk sm {self.second_pack:.4g}\nrpack pk cfs 0.1")
        return lines

    def solve(self, lines, asks):
        """asks: list of (key, commands before, expression). Returns key -> value."""
        script = [".control", "set noaskquit"]
        for i, (_, before, expression) in enumerate(asks):
            script += [*before, "op", f"echo @@ {i}", f"print {expression}"]
        deck = "\n".join([*lines, *script, "quit", ".endc", ".end", ""])
        with tempfile.NamedTemporaryFile("w", suffix=".cir") as f:
            f.write(deck)
            f.flush()
            out = subprocess.run(["ngspice", "-n", "-b", f.name], capture_output=True, text=True, check=False).stdout
        found = {}
        for m in re.finditer(r"@@ (\d+)\s+.*?=\s*(-?[\d.]+e[+-]\d+)", out, re.S):
            found[asks[int(m.group(1))][0]] = float(m.group(2))
        if len(found) != len(asks):
            raise RuntimeError(f"ngspice did not solve {self.arrangement} {self.cause}:\n{deck}\n{out}")
        return found

    def ohms(self, pairs):
        lines = self.deck("off")
        lines += [f"rdm{i} {a} 0 1e12\nim{i} {b} {a} 0" for i, (_, a, b) in enumerate(pairs)]
        for side in ("h", "l"):  # transceivers, unpowered
            lines += [f"rb{n}{side} {n}{side} {g} {self.bias_ohm * 1.4:.6g}"
                      for n, g in (("m", "modg"), *((("d", "gwg"),) if self.gateway or self.others else ()))]
        asks = [(key, [f"alter im{i} dc = 1e-7"] + ([f"alter im{i - 1} dc = 0"] if i else []), f"v({a},{b})*1e7")
                for i, (key, a, b) in enumerate(pairs)]
        return {k: "OL" if v > OL_OHM else max(v, 0.0) for k, v in self.solve(lines, asks).items()}

    # ---- behaviour
    def module_state(self):
        if self.dead or self.polarity:
            return "off"
        if self.cuts:
            return "off"
        v = self.solve(self.deck("idle"), [("v", [], "v(modp,modg)"), ("f2", [], "v(feed2,chassis)")])
        if v["v"] < self.boot_v or v["v"] > 17:
            return "off"
        if self.need_feed2 and v["f2"] < 6:
            return "asleep"
        if self.asleep or (self.ignition_off and v["f2"] < 6):
            return "asleep"
        if self.ripple > 0.3 or self.resets:
            return "cycling"
        if self.solve(self.deck("start"), [("v", [], "v(modp,modg)")])["v"] < self.brown_v:
            return "starved" if self.limit < self.run_w / self.emf and self.collapse else "cycling"
        return "running"

    def bus(self, state, adapter):
        """Who hears whom: for each sender the differential volts at each receiver, all against their own ground."""
        lines = self.deck(DECKS[state])
        nodes = {"i": ("p6", "p14", "ifg")}
        if self.swapped:
            nodes["i"] = ("p14", "p6", "ifg")
        if state == "running" and not self.trx_dead and not self.wrong_pair and not self.kline:
            nodes["m"] = ("mh", "ml", "modg")
        gateway_v = self.solve(lines, [("v", [], "v(gwf,gwg)")])["v"]
        if (self.gateway and gateway_v > 7) or self.others or self.wrong_pair and self.others:
            nodes["o"] = ("dh", "dl", "gwg" if self.gateway else "chassis")
        if adapter == "dead" or self.if_bus:
            nodes.pop("i")
        if self.two_sources:  # the interface hangs on its own supply, nothing joins the grounds
            drift = self.rng.uniform(9, 30) * self.rng.choice((-1, 1))
            lines.append(f"vdrift drifted chassis {drift:.4g}\nrdrift drifted ifg 1e5")
        for n, (h, low, g) in nodes.items():
            lines.append(f"v{n}b {n}b {g} 2.5\nr{n}bh {n}b {h} {self.bias_ohm:.5g}\nr{n}bl {n}b {low} {self.bias_ohm:.5g}")
            lines.append(f"v{n}h {n}hi {g} 3.75\nv{n}l {n}lo {g} 1.2\nr{n}dh {n}hi {h} 1e11\nr{n}dl {n}lo {low} 1e11")
        if self.jammed:
            lines.append("vj jb chassis 3.6\nrjh jb dh 25\nvjl jl chassis 1.4\nrjl jl dl 25")
        asks = [((None, n), [], f"v({h},{low})") for n, (h, low, _) in nodes.items()]
        for s in nodes:
            before = [f"alter r{s}dh = 25", f"alter r{s}dl = 25"]
            others = [f"alter r{x}d{y} = 1e11" for x in nodes for y in "hl" if x != s]
            for n, (h, low, g) in nodes.items():
                asks.append(((s, n), before + others, f"v({h},{low})"))
                asks.append(((s, n, "h"), [], f"v({h},{g})"))
                asks.append(((s, n, "l"), [], f"v({low},{g})"))
        v = self.solve(lines, asks) if nodes else {}
        ringing = self.r_between() > 75 and self.rng.random() < 0.98 or getattr(self, "swallow", False)

        def hears(s, n):
            if s not in nodes or n not in nodes:
                return False
            fits = all(-2 <= v[(s, n, w)] <= 7 for w in "hl")
            return v[(s, n)] > 0.9 and v[(None, n)] < 0.5 and fits and not ringing

        return nodes, hears, lines

    def with_feed2(self):
        """Whether the module starts once its second feed is given too, and whether it then answers."""
        before = self.r["feed2"][2]
        if before < 1e6:
            return False, False
        self.r["feed2"][2] = 0.08
        state = self.module_state()
        nodes, hears, _ = self.bus(state, "ok")
        self.r["feed2"][2] = before
        a = "o" if self.gateway else "m"
        return state in ("running", "cycling"), (
            state == "running" and not (self.silent or self.busoff or self.filters or self.kline) and
            hears("i", a) and hears(a, "i"))

    def r_between(self):
        ends = [x[2] for k, x in self.r.items() if k.startswith(("end", "choke")) and x[2] < 1e6 and
                (x[0] in ("dh", "mh") or not self.gateway)]
        return 1 / sum(1 / x for x in ends) if ends else 1e6

    def readings(self):
        out = {}
        pairs = [("R(feed,chassis)", "slotload", "chassis"), ("R(pin4,chassis)", "p4", "chassis"),
                 ("R(pin5,chassis)", "p5", "chassis"), ("R(src-,chassis)", "sm", "chassis"),
                 ("R(pin6,pin14)", "p6", "p14"), ("R(pin6,pin4)", "p6", "p4"), ("R(pin14,pin4)", "p14", "p4"),
                 ("R(pin6,pin16)", "p6", "p16"), ("R(pin14,pin16)", "p14", "p16"), ("R(connfuse,pin16)", "cfl", "p16")]
        if not self.own:
            # The lead is measured by itself, its fuse pulled or its source off: nothing lies beside it.
            out["R(rigfuse)"] = self.alone("rigfuse")
            out["R(rigfuse,clip)"] = self.alone("rig")
        if self.car:
            out["R(connfuse)"] = self.alone("connfuse")
        if self.own:
            out["R(modfuse)"] = self.alone("modfuse")
        out.update(self.ohms(pairs))
        sign = -1 if self.polarity else 1
        for key, state in (("V(src+,src-)", "source"), ("V(src+,src-,load)", "lamp")):
            out[key] = self.solve(self.deck(state), [("v", [], "v(srcp,sm)")])["v"]
        if abs(out["V(src+,src-,load)"]) * abs(out["V(src+,src-,load)"]) / 2.6 > self.limit * 12 * 4:
            out["V(src+,src-,load)"] = sign * self.limit * 2.6
        if not self.own:
            out["Vac(src+,src-)"] = out["Vac(pin16,pin4)"] = self.ripple
            out["fuse-rating"] = "too small" if self.rating_small else "right"
            out["source-label"] = self.label
        state = self.module_state()
        # The interface: fed, seen by its computer.
        fed = self.solve(self.deck(DECKS[state]), [("v", [], "v(ifp,ifg)")])["v"]
        if self.two_sources:
            fed = 12.4
        if self.cuts:
            fed = 0
        lit = (6.5 < fed < 20 or getattr(self, "usb_volts", 0) > 0) and not self.if_dead
        adapter = "dead" if not lit or self.port else "ok"
        nodes, hears, lines = self.bus(state, "ok" if lit else "dead")
        self.volts(out, state, lines, nodes)
        self.words(out, state, lit, adapter, nodes, hears)
        allowed = {k: v for k, v in out.items() if v is not None}
        return state, allowed

    def alone(self, name):
        ohm = self.r[name][2]
        return "OL" if ohm > OL_OHM else ohm

    def volts(self, out, state, lines, nodes):
        lines = list(lines)
        # Traffic seen as a mean: each sender drives for its share of the time.
        for n in nodes:
            share = {"m": 0.04 if self.sends else 0.0, "o": 0.25, "i": 0.0}[n]
            if share > 0:
                lines = [re.sub(rf"^(r{n}d[hl] \S+ \S+) 1e11", rf"\g<1> {25 / share:.5g}", x, flags=re.M) for x in lines]
        wants = [("V(feed,chassis)", "clip" if not self.own else "slotload", "chassis"), ("V(chassis,src-)", "chassis", "sm"),
                 ("V(pin16,pin4)", "p16", "p4"), ("V(pin16,chassis)", "p16", "chassis"), ("V(pin4,src-)", "p4", "sm"),
                 ("V(ifgnd,chassis)", "ifg", "chassis"), ("V(interface+,interface-)", "ifp", "ifg"), ("V(feed2,chassis)", "feed2", "chassis"),
                 ("V(pin6,pin4)", "p6", "p4"), ("V(pin14,pin4)", "p14", "p4"), ("V(pin6,pin14)", "p6", "p14"),
                 ("V(src+,src-,on)", "srcp", "sm")]
        if self.car:
            wants += [("V(slot load,chassis)", "slotload", "chassis"), ("V(connfuse supply,chassis)", "cfs", "chassis"),
                      ("V(outlet,chassis)", "out", "chassis")]
            if not self.own:
                wants.append(("V(slot supply,chassis)", "bar", "chassis"))
            if self.gateway:
                wants.append(("V(gwfeed,chassis)", "gwf", "chassis"))
        if not self.own:
            wants.append(("V(src+,feed)", "srcp", "clip"))
        lines += [f"rdmm{i} {a} {b} 1e14" for i, (_, a, b) in enumerate(wants)]
        asks = [(key, [f"alter rdmm{i} = {METER_OHM:g}"] + ([f"alter rdmm{i - 1} = 1e14"] if i else []), f"v({a},{b})")
                for i, (key, a, b) in enumerate(wants)]
        a, b, ohm = self.r["modfuse" if self.own else "bite"]
        asks.append(("I(feed)", [], f"v({a},{b})/{max(ohm, 1e-4):.6g}"))
        if not self.own:
            a, b, ohm = self.r["rigfuse"]
            asks.append(("I(src)", [], f"v({a},{b})/{max(ohm, 1e-4):.6g}"))
        found = self.solve(lines, asks)
        if self.cuts:
            found = {k: 0.0 for k in found}
        for key in list(found):
            if found[key] < 0 and key.startswith("I("):
                found[key] = max(found[key], -0.3) if self.polarity else 0.0
        out.update(found)
        out["V(pin7,pin4)"] = out["V(pin16,pin4)"] * 0.96 if self.kline and state == "running" else near(self.rng, 0.03, 0.9)

    def words(self, out, state, lit, adapter, nodes, hears):
        rng = self.rng
        talks = adapter == "ok"
        running = state == "running" and not self.trx_dead and not self.wrong_pair and not self.kline
        module_sends = running and self.sends and not self.busoff
        wakes = rng.random() < 0.9
        if not self.own:
            short = self.dead and self.module_off_ohm < 100
            limiting = out["I(src)"] > 0.97 * self.limit
            out["limit-lamp"] = ("flickers" if state == "cycling" and self.limit < self.start_w / self.emf * 1.2 else
                                 "lit" if limiting or state == "starved" or (short and self.limit < 100) else "off")
        out["I(feed) pattern"] = ("cycling" if state == "cycling" else "drops to nothing" if self.cuts else "steady")
        out["interface-lamp"] = "lit" if lit else "off"
        if self.car:
            out["dash-signs"] = "some" if self.signs and abs(out["V(src+,src-,on)"]) > 7 else "none"
        if self.own:
            alive = abs(out["V(src+,src-,on)"]) > 7 and not self.ignition_off
            out["warning-lamp"] = ("off" if not alive else
                                   "bulb check then off" if running and rng.random() < 0.4 else "on steady")
        if not self.own:
            out["slot-check"] = self.slot if self.car else None
        out["port-list"] = "wrong" if self.port else "right"
        out["adapter-answers"] = "yes" if talks else "no"
        out["adapter-mode"] = "no answer" if not talks else "listen only" if self.listen else "normal"
        heard = {n for n in nodes if n != "i" and talks and not self.wrong_rate and hears(n, "i")}
        heard_m = "m" in heard and module_sends
        heard_o = "o" in heard and not self.jammed
        out["identifiers"] = ("no adapter" if not talks else "tester" if self.tester else
                              "both" if heard_m and heard_o else "module" if heard_m or (self.busoff and running and
                                                                                       "m" in heard and rng.random() < 0.5)
                              else "others" if heard_o else "none")
        listeners = [n for n in nodes if n != "i" and hears("i", n) and (n != "m" or running)]
        self_ok = "i" in nodes and hears("i", "i")
        senders = [n for n in nodes if n == "o" or (n == "m" and module_sends)]
        if not talks:
            error, controller = "no adapter", "no adapter"
        elif self.jammed:
            error, controller = "dominant", rng.choice(("passive", "bus-off"))
        elif self.if_bus:
            error, controller = rng.choice((("none", "active"), ("bit", "bus-off"), ("acknowledge", "passive")))
        elif self.listen:
            error = "format" if senders == ["m"] and "m" in heard else "none"
            controller = "active"
        elif self.wrong_rate:
            error, controller = (("format", "passive") if senders else ("acknowledge", "passive"))
            if not senders and listeners:
                error, controller = "format", rng.choice(("passive", "bus-off"))
        elif not self_ok:
            error, controller = ("bit", "bus-off") if not self.swapped else ("acknowledge", "passive")
        elif self.busoff and running and rng.random() < 0.7:
            error, controller = rng.choice(("bit", "format")), "active"
        elif listeners:
            error, controller = "none", "active"
        else:
            error, controller = "acknowledge", "passive"
        out["error-class"], out["controller-state"] = error, controller
        yes = lambda b: "yes" if b and talks else "no"
        out["rate-scan"] = yes(self.wrong_rate and senders)
        out["pair-scan"] = yes(self.wrong_pair and state == "running")
        reach = talks and running and hears("i", "m") and hears("m", "i") and not self.listen
        through = self.gateway and talks and "o" in nodes and hears("i", "o") and hears("o", "i") and running
        path = (reach or through) and not self.filters and not self.wrong_rate
        others_answer = talks and not self.listen and "o" in nodes and hears("i", "o") and hears("o", "i") and not self.wrong_rate
        can = path and not (self.silent or self.busoff)
        module_rolls = can and (self.address or (self.locked and rng.random() < 0.5) or (self.slow and rng.random() < 0.3))
        out["rollcall"] = ("module" if module_rolls else
                           "others" if others_answer and (self.own or rng.random() < 0.4) and not self.wrong_pair else "nobody")
        out["answer@29bit"] = yes(can and self.id_size)
        out["answer@longwait"] = "refused" if can and self.locked else yes(can and self.slow)
        out["answer@again"] = yes(can and self.early)
        woken = state == "asleep" and (self.asleep or self.ignition_off) and wakes and \
            not (self.need_feed2 and out["V(feed2,chassis)"] < 6 and not self.ignition_off)
        out["answer@wake"] = ("no" if not woken else
                              "yes" if talks and not self.listen and self.r_between() < 75 else "starts")
        out["answer@all"] = ("refused" if can and self.locked else
                             yes(can and (self.slow or self.early or self.id_size or self.address)))
        if out["identifiers"] in ("none", "no adapter"):
            any_rate = (reach or through) and not (self.filters or self.silent or self.busoff)
            out["answer@rate"] = yes(any_rate and self.wrong_rate)
        if not self.car:
            loose = any(self.r[n][2] == OPEN for n in ("stubh", "stubl", "modh", "modl") if n in self.r)
            out["bus-leads"] = ("swapped" if self.swapped else "other pins" if self.wrong_pair else
                                "loose" if loose and rng.random() < 0.6 else "right")
        out["answer@restart"] = yes(can and self.early)
        if not self.own:
            fed, answers = self.with_feed2() if self.need_feed2 else (False, False)
            out["answer@feed2"] = ("no" if not fed else
                                   "yes" if answers and talks and not (self.listen or self.wrong_rate) else "starts")
        out["interface-alone"] = "no" if self.if_dead or self.port else "yes"
        out["fd-scan"] = "no"
        if self.car:
            out["connector-look"] = "nothing"
        if self.own:
            out["battery-look"] = "fine"
        out["answer@kline"] = yes(self.kline and state == "running")
        if self.car:
            at_far_side = self.gateway and talks and running and not self.listen
            out["answer@direct"] = ("yes" if at_far_side and (self.filters or "o" not in nodes) else
                                    "frames, no answer" if at_far_side and module_sends and not self.wrong_rate else "no")
        other = lit or self.if_dead or self.if_contact
        other_path = "m" in nodes or through
        cured = self.if_dead or self.if_bus or self.listen or self.if_contact or (self.port and rng.random() < 0.7)
        fed_conn = self.two_sources or out["V(pin16,pin4)"] > 7
        out["answer@otherif"] = ("still no adapter" if not fed_conn else
                                 "yes" if cured and other and other_path and not self.if_contact else
                                 "yes" if self.if_contact and other_path and rng.random() < 0.7 else
                                 "hears more" if cured and not self.if_contact and "o" in nodes and
                                 not (heard or listeners) else "no")
        out["reseat"] = "works" if self.if_contact else "no change"
        self.answered = can and not (self.address or self.locked or self.slow or self.id_size or self.early or self.tester)


CAUSES = sorted(n[5:].replace("_", "-") for n in dir(Bench) if n.startswith("make_") and not n.startswith("make_x_"))
OUTSIDE = sorted(n[7:].replace("_", "-") for n in dir(Bench) if n.startswith("make_x_"))
ONLY = {  # causes that an arrangement cannot have
    "own-battery": """pack-shuts-off limit-too-low inrush-trips source-over source-reversed source-ripple rig-fuse-open
 rig-fuse-small feed-lead-open feed-lead-thin supply-side-feed wrong-slot conn-not-fed clamp-poor clamp-open
 two-sources-floating can-swapped term-none""".split(),
    "fed-in-place": """module-fuse-open ignition-off vehicle-ground-poor bus-leak bus-jammed other-tester""".split(),
    "removed": """supply-side-feed wrong-slot module-fuse-open ignition-off conn-fuse-open shared-fuse-outlet conn-not-fed
 vehicle-ground-poor ground-offset bus-leak bus-jammed other-tester gateway-unpowered gateway-filters""".split(),
}


def truth(rng, arrangement, cause):
    """One bench that does not answer; None if forty tries all answered."""
    for _ in range(40):
        bench = Bench(rng, arrangement, cause)
        _, readings = bench.readings()
        if not bench.answered:
            return {"arrangement": arrangement, "cause": cause,
                    "readings": {k: v if isinstance(v, str) else float(f"{v:.5g}") for k, v in readings.items()}}
    return None


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--inside", type=int, default=300)
    parser.add_argument("--outside", type=int, default=100)
    o = parser.parse_args()
    rng = random.Random(o.seed)
    made, dropped = 0, {}
    with open(o.out, "w", encoding="utf-8") as out:
        for i in range(o.inside + o.outside):
            arrangement = ARRANGEMENTS[i % 3]
            for _ in range(50):
                cause = (rng.choice([c for c in CAUSES if c not in ONLY[arrangement]]) if i < o.inside
                         else "outside:" + rng.choice(OUTSIDE))
                t = truth(rng, arrangement, cause)
                if t:
                    break
                dropped[cause] = dropped.get(cause, 0) + 1
            out.write(json.dumps(t) + "\n")
            made += 1
    print(f"{made} benches in {o.out}; never silent: {dropped}", file=sys.stderr)


if __name__ == "__main__":
    main()
