// Which instruction each opcode is, for `swift.mjs`.

// The order is the numbers' in the big `switch` of `swift.mjs`.
const names = [
  'SLOW', 'ADCS', 'ADD_RD_SP', 'ADD_SP', 'ADDS_3', 'ADDS_8', 'ADDS_R', 'ADD_R', 'ADR', 'ANDS', 'ASRS_I', 'B_COND', 'B', 'BICS', 'BL', 'BX',
  'CMP_I', 'CMP_R', 'EORS', 'LDMIA', 'LDR_I', 'LDR_SP', 'LDR_PC', 'LDR_R', 'LDRB_I', 'LDRB_R', 'LDRH_I', 'LSLS_I', 'LSRS_I', 'MOV', 'MOVS',
  'MULS', 'MVNS', 'ORRS', 'POP', 'PUSH', 'RSBS', 'SBCS', 'STMIA', 'STR_I', 'STR_SP', 'STR_R', 'STRB_I', 'STRB_R', 'STRH_I', 'SUB_SP',
  'SUBS_3', 'SUBS_8', 'SUBS_R', 'TST', 'UXTB', 'UXTH', 'SXTH', 'SXTB', 'LSLS_R', 'LSRS_R',
];
const K = Object.fromEntries(names.map((name, i) => [name, i]));

/** Which of the above an opcode is (ARMv6-M Architecture Reference Manual, DDI 0419, A5.2). */
function kindOf(op) {
  switch (op >> 11) {
    case 0b00000: return K.LSLS_I;
    case 0b00001: return K.LSRS_I;
    case 0b00010: return K.ASRS_I;
    case 0b00011: return [K.ADDS_R, K.SUBS_R, K.ADDS_3, K.SUBS_3][(op >> 9) & 3];
    case 0b00100: return K.MOVS;
    case 0b00101: return K.CMP_I;
    case 0b00110: return K.ADDS_8;
    case 0b00111: return K.SUBS_8;
    case 0b01001: return K.LDR_PC;
    case 0b01100: return K.STR_I;
    case 0b01101: return K.LDR_I;
    case 0b01110: return K.STRB_I;
    case 0b01111: return K.LDRB_I;
    case 0b10000: return K.STRH_I;
    case 0b10001: return K.LDRH_I;
    case 0b10010: return K.STR_SP;
    case 0b10011: return K.LDR_SP;
    case 0b10100: return K.ADR;
    case 0b10101: return K.ADD_RD_SP;
    case 0b11000: return K.STMIA;
    case 0b11001: return K.LDMIA;
    case 0b11100: return K.B;
    case 0b11110: return K.BL;
  }
  if (op >> 10 === 0b010000) {
    const data = [K.ANDS, K.EORS, K.LSLS_R, K.LSRS_R, 0, K.ADCS, K.SBCS, 0, K.TST, K.RSBS, K.CMP_R, 0, K.ORRS, K.MULS, K.BICS, K.MVNS];
    return data[(op >> 6) & 15];
  }
  if (op >> 8 === 0b01000100) return (op & 0x87) === 0x87 || (op & 0x87) === 0x85 ? K.SLOW : K.ADD_R;
  if (op >> 8 === 0b01000110) return (op & 0x87) === 0x87 || (op & 0x87) === 0x85 ? K.SLOW : K.MOV;
  if (op >> 7 === 0b010001110 && (op & 7) === 0) return K.BX;
  if (op >> 9 === 0b0101000) return K.STR_R;
  if (op >> 9 === 0b0101010) return K.STRB_R;
  if (op >> 9 === 0b0101100) return K.LDR_R;
  if (op >> 9 === 0b0101110) return K.LDRB_R;
  if (op >> 7 === 0b101100000) return K.ADD_SP;
  if (op >> 7 === 0b101100001) return K.SUB_SP;
  if (op >> 6 === 0b1011001000) return K.SXTH;
  if (op >> 6 === 0b1011001001) return K.SXTB;
  if (op >> 6 === 0b1011001010) return K.UXTH;
  if (op >> 6 === 0b1011001011) return K.UXTB;
  if (op >> 9 === 0b1011010) return K.PUSH;
  if (op >> 9 === 0b1011110) return K.POP;
  if (op >> 12 === 0b1101 && ((op >> 9) & 7) !== 7) return K.B_COND;
  return K.SLOW;
}

export const KINDS = Uint8Array.from({ length: 65536 }, (_, op) => kindOf(op));
