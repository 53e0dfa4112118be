// The 8-bit chip with the firmware in it, as Python sees it. All times are cycles of the chip's own clock; inputs stay
// as set; outputs are recorded. What the chip's simulator does otherwise than the chip is made good here, each time
// with a word on it.
#include "serial.h"

static void note_edge(Chip *chip) {
  chip->reasons |= STOP_OUTPUT;
  if (chip->edge_count < EDGES_MAX) {
    const uint32_t outputs = (chip->level[VALVE] ? 1u : 0u) | (chip->level[DRIVE] ? 2u : 0u);
    chip->edges[chip->edge_count++] = (Edge){chip->avr->cycle, chip->steps, outputs, 0};
  }
}

static void on_step(Chip *chip, int up) {
  const uint64_t now = chip->avr->cycle;
  if (!up) {
    if (now - chip->step_rose < chip->step_narrowest) {
      chip->step_narrowest = now - chip->step_rose;
    }
    return;
  }
  chip->step_rose = now;
  chip->steps += chip->level[DIRECTION] ? 1 : -1;
  if (chip->trace_count < chip->trace_max) {
    chip->trace[chip->trace_count++] = now;
  }
  if (chip->step_stop > 0 && ++chip->steps_since >= chip->step_stop) {
    chip->steps_since = 0;
    chip->reasons |= STOP_STEPS;
  }
}

static void on_output(Chip *chip, int which, uint8_t level) {
  if (chip->level[which] == level) {
    return;
  }
  chip->level[which] = level;
  if (which == STEP) {
    on_step(chip, level);
  } else if (which == DRIVE || which == VALVE) {
    note_edge(chip);
  }
}

static void step_irq(struct avr_irq_t *irq, uint32_t value, void *chip) { (void)irq; on_output(chip, STEP, value & 1); }
static void direction_irq(struct avr_irq_t *irq, uint32_t value, void *chip) {
  (void)irq;
  on_output(chip, DIRECTION, value & 1);
}
static void drive_irq(struct avr_irq_t *irq, uint32_t value, void *chip) { (void)irq; on_output(chip, DRIVE, value & 1); }
static void valve_irq(struct avr_irq_t *irq, uint32_t value, void *chip) { (void)irq; on_output(chip, VALVE, value & 1); }

static void leaving_irq(struct avr_irq_t *irq, uint32_t value, void *chip) {
  (void)irq;
  on_output(chip, LEAVING, value & 1);
}

static void on_reset(avr_t *avr) {
  Chip *chip = avr->custom.data;
  chip->was_reset = 1;
  if (chip->chip_reset) {
    chip->chip_reset(avr);
  }
}

// A sleep must not pass the end of the slice. The simulator adds `cycles` and one more after this.
static void on_sleep(avr_t *avr, avr_cycle_count_t cycles) {
  Chip *chip = avr->custom.data;
  uint64_t limit = chip->limit > avr->cycle ? chip->limit : avr->cycle + 1;
  if (avr_has_pending_interrupts(avr)) {
    limit = avr->cycle + 1;  // the simulator would sleep over an interrupt that came just before
  }
  const uint64_t end = avr->cycle + cycles + 1;
  const uint64_t beyond = end > limit ? end - limit : 0;
  avr->cycle -= beyond;
  chip->asleep += cycles + 1 - beyond;
  chip->deaf_since = end - beyond;  // it listens in its sleep
}

static void raise_pin(Chip *chip, int port, int bit, int level) {
  avr_irq_t *irq = avr_io_getirq(chip->avr, AVR_IOCTL_IOPORT_GETIRQ(PORT_NAMES[port]), bit);
  avr_raise_irq(irq, (uint32_t)level);
}

// Every write to a port raises its pulled-up inputs anew; only for levels told here as well it keeps those driven.
static void drive_pin(Chip *chip, int port, int bit, int level) {
  chip->input_mask[port] |= (uint8_t)(1 << bit);
  chip->input_level[port] = (uint8_t)((chip->input_level[port] & ~(1 << bit)) | (level ? 1 << bit : 0));
  avr_ioport_external_t external = {
      .name = PORT_NAMES[port], .mask = chip->input_mask[port], .value = chip->input_level[port]};
  avr_ioctl(chip->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(PORT_NAMES[port]), &external);
  raise_pin(chip, port, bit, level);
}

static void end_hang(Chip *chip) {
  if (chip->hang_end != NEVER) {
    memcpy(chip->avr->flash + chip->hang_at, chip->hung, 2);
    chip->hang_end = NEVER;
  }
}

// Nobody uses these two interrupts, but a low pin would be looked at in every cycle, after a reset too: 20 times slower.
static void ignore_low_pins(avr_t *avr) {
  avr_extint_set_strict_lvl_trig(avr, 0, 0);
  avr_extint_set_strict_lvl_trig(avr, 1, 0);
}

// A reset clears the pin registers, and a level that is raised again without a change is filtered out. Outputs float,
// and their resistors pull them down.
static void after_reset(Chip *chip) {
  chip->was_reset = 0;
  ignore_low_pins(chip->avr);
  end_hang(chip);
  chip->reasons |= STOP_RESET;
  for (int which = 0; which < OUTPUTS; ++which) {
    on_output(chip, which, 0);
  }
  for (int port = 0; port < PORTS; ++port) {
    for (int bit = 0; bit < 8; ++bit) {
      if (chip->input_mask[port] & (1 << bit)) {
        const int level = chip->input_level[port] >> bit & 1;
        raise_pin(chip, port, bit, !level);
        drive_pin(chip, port, bit, level);
      }
    }
  }
  chip->tx_in = chip->tx_out;
  chip->tx_free = chip->avr->cycle;
  chip->own_byte = 0;
  chip->uart->input.read = chip->uart->input.write;
}

// Of the flags of timer 1 those go that are written as 1. The simulator would clear all of them, and an overflow with
// them: the firmware's clock then lost a round.
static void on_timer_flags(avr_t *avr, avr_io_addr_t addr, uint8_t written, void *param) {
  avr_timer_t *timer = param;
  (void)addr;
  if (written & (1 << timer->overflow.raised.bit)) {
    avr_clear_interrupt(avr, &timer->overflow);
  }
  for (int i = 0; i < AVR_TIMER_COMP_COUNT; ++i) {
    avr_int_vector_t *match = &timer->comp[i].interrupt;
    if (match->vector && (written & (1 << match->raised.bit))) {
      avr_clear_interrupt(avr, match);
    }
  }
}

static void find_parts(Chip *chip) {
  for (avr_io_t *io = chip->avr->io_port; io; io = io->next) {
    if (io->kind && strcmp(io->kind, "timer") == 0) {
      avr_timer_t *timer = (avr_timer_t *)io;
      if (timer->name != '2') {
        chip->maskable[chip->maskables++] = &timer->overflow;
        chip->maskable[chip->maskables++] = &timer->comp[0].interrupt;
      }
    } else if (io->kind && strcmp(io->kind, "port") == 0 && ((avr_ioport_t *)io)->name == 'D') {
      chip->maskable[chip->maskables++] = &((avr_ioport_t *)io)->pcint;
    } else if (io->kind && strcmp(io->kind, "adc") == 0) {
      chip->maskable[chip->maskables++] = &((avr_adc_t *)io)->adc;
    }
    if (io->kind && strcmp(io->kind, "uart") == 0 && ((avr_uart_t *)io)->name == '0') {
      chip->uart = (avr_uart_t *)io;
    }
    if (io->kind && strcmp(io->kind, "timer") == 0 && ((avr_timer_t *)io)->name == '1') {
      chip->avr->io[AVR_DATA_TO_IO(TIFR1_AT)].w.c = on_timer_flags;
      chip->avr->io[AVR_DATA_TO_IO(TIFR1_AT)].w.param = io;
    }
  }
}

static void say_nothing(avr_t *avr, const int level, const char *format, va_list arguments) {
  (void)avr;
  (void)level;
  (void)format;
  (void)arguments;
}

// `outputs`: port << 3 | bit of step, direction, drive, valve, leaving. `eeprom`: 1024 bytes.
API Chip *ba_open(const char *elf, const uint8_t *outputs, const uint8_t *eeprom, uint32_t mcusr) {
  static const avr_irq_notify_t HEARERS[OUTPUTS] = {step_irq, direction_irq, drive_irq, valve_irq,
                                                      leaving_irq};
  elf_firmware_t firmware = {0};
  avr_global_logger_set(say_nothing);
  Chip *chip = calloc(1, sizeof(Chip));
  if (!chip || elf_read_firmware(elf, &firmware) != 0 || !(chip->avr = avr_make_mcu_by_name("atmega328p"))) {
    free(chip);
    return 0;
  }
  avr_t *avr = chip->avr;
  avr_init(avr);
  avr->log = LOG_NONE;
  firmware.frequency = 16000000;
  avr_load_firmware(avr, &firmware);
  avr->vcc = avr->avcc = avr->aref = 5000;
  avr->custom.data = chip;
  chip->chip_reset = avr->reset;
  avr->reset = on_reset;
  avr->sleep = on_sleep;
  avr->run_cycle_limit = 1;
  chip->usual_run = avr->run;
  find_parts(chip);
  ignore_low_pins(avr);
  uint32_t no_flags = 0;
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &no_flags);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), uart_irq, chip);
  for (int which = 0; which < OUTPUTS; ++which) {
    const uint8_t at = outputs[which];
    chip->output_at[which] = at;
    avr_irq_t *irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(PORT_NAMES[at >> 3]), at & 7);
    avr_irq_register_notify(irq, HEARERS[which], chip);
  }
  avr_eeprom_desc_t memory = {.ee = (uint8_t *)eeprom, .offset = 0, .size = 1024};
  avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &memory);
  avr->data[MCUSR_AT] = (uint8_t)mcusr;
  chip->rx_at = chip->plan_at = chip->hang_end = NEVER;
  chip->step_narrowest = NEVER;
  chip->lowest_sp = 0xFFFF;
  return chip;
}

API void ba_free(Chip *chip) {
  avr_terminate(chip->avr);
  free(chip->avr);
  free(chip);
}

API void ba_reset(Chip *chip, uint32_t mcusr) {
  avr_reset(chip->avr);
  chip->avr->data[MCUSR_AT] = (uint8_t)mcusr;
  chip->avr->data[R2] = 0;
  after_reset(chip);
}

// As a boot loader may start the firmware: without a reset, the flags of the last one in register 2, every pin of the
// ports high, and interrupts on.
API void ba_leave_loader(Chip *chip, uint32_t mcusr) {
  ba_reset(chip, 0);
  chip->avr->data[R2] = (uint8_t)mcusr;
  for (int at = DDRB_AT; at <= PORTD_AT; ++at) {
    if (at % 3 != PINS_AT) {
      chip->avr->data[at] = 0xFF;
    }
  }
  chip->avr->sreg[S_I] = 1;
}

API void ba_pin(Chip *chip, uint32_t port, uint32_t bit, uint32_t level) {
  drive_pin(chip, (int)port, (int)bit, level != 0);
}

static void next_plan(Chip *chip) {
  chip->plan_at = NEVER;
  for (size_t i = 0; i < chip->plan_count; ++i) {
    if (chip->plans[i].cycle < chip->plan_at) {
      chip->plan_at = chip->plans[i].cycle;
    }
  }
}

API void ba_pin_at(Chip *chip, uint64_t cycle, uint32_t port, uint32_t bit, uint32_t level) {
  if (chip->plan_count < PLANS_MAX) {
    chip->plans[chip->plan_count++] = (Plan){cycle, (uint8_t)port, (uint8_t)bit, (uint8_t)(level != 0)};
    next_plan(chip);
  }
}

static void do_plans(Chip *chip) {
  size_t kept = 0;
  for (size_t i = 0; i < chip->plan_count; ++i) {
    const Plan plan = chip->plans[i];
    if (plan.cycle <= chip->avr->cycle) {
      drive_pin(chip, plan.port, plan.bit, plan.level);
    } else {
      chip->plans[kept++] = plan;
    }
  }
  chip->plan_count = kept;
  next_plan(chip);
}

API void ba_adc(Chip *chip, uint32_t channel, uint32_t mv) {
  avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_ADC_GETIRQ, (int)channel), mv);
}

API void ba_supply(Chip *chip, uint32_t mv) { chip->avr->vcc = chip->avr->avcc = chip->avr->aref = mv; }

// Hangs the main loop: the instruction under way becomes a jump to itself, and interrupts go on.
static void watch_hang(Chip *chip) {
  avr_t *avr = chip->avr;
  if (avr->cycle >= chip->hang_end) {
    end_hang(chip);
  }
  const int outside = avr->pc < chip->hang_from || avr->pc >= chip->hang_to;
  if (chip->hang_cycles == 0 || outside || avr->interrupts.running_ptr != 0 || avr->state != cpu_Running) {
    return;
  }
  chip->hang_at = avr->pc;
  chip->hang_end = avr->cycle + chip->hang_cycles;
  chip->hang_cycles = 0;
  memcpy(chip->hung, avr->flash + chip->hang_at, 2);
  avr->flash[chip->hang_at] = SPIN & 0xFF;
  avr->flash[chip->hang_at + 1] = SPIN >> 8;
}

API void ba_hang(Chip *chip, uint32_t from, uint32_t to, uint64_t cycles) {
  chip->hang_from = from;
  chip->hang_to = to;
  chip->hang_cycles = cycles;
}

static void do_due(Chip *chip) {
  const uint64_t now = chip->avr->cycle;
  if (chip->plan_at <= now) {
    do_plans(chip);
  }
  if (chip->rx_at <= now) {
    receive(chip);
  }
  if (tx_due(chip) <= now) {
    transmit(chip);
  }
}

// An interrupt that comes while it is held back must come afterwards; the simulator forgets it.
static void raise_what_was_held_back(Chip *chip) {
  for (uint32_t i = 0; i < chip->maskables; ++i) {
    avr_int_vector_t *vector = chip->maskable[i];
    if (!vector->pending && avr_regbit_get(chip->avr, vector->raised) && avr_regbit_get(chip->avr, vector->enable)) {
      avr_raise_interrupt(chip->avr, vector);
    }
  }
}

static void look_after(Chip *chip) {
  avr_t *avr = chip->avr;
  if (chip->uart->cycles_per_byte != chip->own_byte) {
    // The simulator counts eleven bits for a byte; there are ten.
    chip->uart->cycles_per_byte = chip->own_byte = chip->uart->cycles_per_byte * 10 / 11;
  }
  if (chip->was_reset) {
    after_reset(chip);
  }
  if (avr->sreg[S_I] && !chip->listened) {
    raise_what_was_held_back(chip);
  }
  chip->listened = avr->sreg[S_I];
  tell_of_bytes(chip);
  const uint16_t sp = (uint16_t)(avr->data[SPL_AT] | avr->data[SPH_AT] << 8);
  if (sp < chip->lowest_sp && sp > 0x100) {
    chip->lowest_sp = sp;
  }
  if (avr->sreg[S_I] || avr->state == cpu_Sleeping) {
    if (avr->state != cpu_Sleeping && avr->cycle - chip->deaf_since > chip->deaf_longest) {
      chip->deaf_longest = avr->cycle - chip->deaf_since;
      chip->deaf_at = chip->deaf_from;
    }
    chip->deaf_since = avr->cycle;
    chip->deaf_from = avr->pc;
  }
  if (chip->hang_cycles != 0 || chip->hang_end != NEVER) {
    watch_hang(chip);
  }
}

// One instruction as avr_run() does it, but twice as fast: what is due is looked at before it is asked for. A sleep, and
// the reset that the watchdog puts in the place of `run`, are left to it.
static int go_on(Chip *chip) {
  avr_t *avr = chip->avr;
  if (avr->state != cpu_Running || avr->run != chip->usual_run) {
    return avr_run(avr);
  }
  const avr_flashaddr_t next = avr_run_one(avr);
  if (avr->state != cpu_Running) {
    avr->pc = next;
    return avr->state == cpu_Sleeping ? avr_run(avr) : avr->state;
  }
  const avr_cycle_timer_slot_p timer = avr->cycle_timers.timer;
  if (timer && timer->when <= avr->cycle) {
    avr_cycle_timer_process(avr);
  }
  avr->pc = next;
  if (avr->interrupt_state) {
    avr_service_interrupts(avr);
  }
  return avr->state;
}

API uint32_t ba_run(Chip *chip, uint64_t until, uint32_t mask) {
  avr_t *avr = chip->avr;
  chip->reasons = 0;
  for (;;) {
    do_due(chip);
    if (avr->cycle >= until || (chip->reasons & mask)) {
      return chip->reasons;
    }
    chip->limit = least(least(until, chip->plan_at), least(chip->rx_at, tx_due(chip)));
    do {
      const int state = go_on(chip);
      if (state == cpu_Done || state == cpu_Crashed) {
        return chip->reasons | STOP_CRASH;
      }
      look_after(chip);
      chip->limit = least(chip->limit, tx_due(chip));
    } while (avr->cycle < chip->limit && !(chip->reasons & mask));
  }
}

API uint32_t ba_pc(const Chip *chip) { return chip->avr->pc; }
API uint64_t ba_cycle(const Chip *chip) { return chip->avr->cycle; }
API int64_t ba_steps(const Chip *chip) { return chip->steps; }
API uint32_t ba_outputs(const Chip *chip) {
  return (chip->level[VALVE] ? 1u : 0u) | (chip->level[DRIVE] ? 2u : 0u) | (chip->level[LEAVING] ? 8u : 0u);
}
API uint32_t ba_overruns(const Chip *chip) { return chip->overruns; }
API uint32_t ba_lowest_sp(const Chip *chip) { return chip->lowest_sp; }
API uint64_t ba_asleep(const Chip *chip) { return chip->asleep; }
// Longest time with interrupts off since this was last asked, and where it began.
API uint64_t ba_longest_deaf(Chip *chip, uint32_t *at) {
  const uint64_t longest = chip->deaf_longest;
  *at = chip->deaf_at;
  chip->deaf_longest = 0;
  return longest;
}
API uint64_t ba_narrowest_step(const Chip *chip) { return chip->step_narrowest; }
API uint32_t ba_byte_cycles(const Chip *chip) { return (uint32_t)chip->uart->cycles_per_byte; }
API uint32_t ba_waiting(const Chip *chip) { return (uint32_t)(chip->rx_in - chip->rx_out); }
API uint8_t ba_data(const Chip *chip, uint32_t at) { return chip->avr->data[at]; }

API void ba_set_data(Chip *chip, uint32_t at, uint32_t value) { chip->avr->data[at] = (uint8_t)value; }

API void ba_step_stop(Chip *chip, uint32_t every) {
  chip->step_stop = every;
  chip->steps_since = 0;
}

API uint32_t ba_tx(Chip *chip, uint8_t *to, uint32_t most) {
  const uint32_t size = chip->tx_count < most ? (uint32_t)chip->tx_count : most;
  memcpy(to, chip->tx, size);
  memmove(chip->tx, chip->tx + size, chip->tx_count - size);
  chip->tx_count -= size;
  return size;
}

API uint32_t ba_edges(Chip *chip, Edge *to, uint32_t most) {
  const uint32_t size = chip->edge_count < most ? (uint32_t)chip->edge_count : most;
  memcpy(to, chip->edges, size * sizeof(Edge));
  chip->edge_count = 0;
  return size;
}

API void ba_trace(Chip *chip, uint64_t *to, uint64_t most) {
  chip->trace = to;
  chip->trace_max = to ? (size_t)most : 0;
  chip->trace_count = 0;
}
API uint64_t ba_traced(const Chip *chip) { return chip->trace_count; }

// The simulator's own answer says failure though the bytes came.
API void ba_eeprom(Chip *chip, uint8_t *to) {
  avr_eeprom_desc_t memory = {.ee = to, .offset = 0, .size = 1024};
  avr_ioctl(chip->avr, AVR_IOCTL_EEPROM_GET, &memory);
}
