// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fetch;

import com.jcraft.jsch.ChannelSftp;
import com.jcraft.jsch.JSchChangedHostKeyException;
import com.jcraft.jsch.JSchException;
import com.jcraft.jsch.JSchHostKeyException;

/** What failed, in words of our own: those of the library may quote the server. */
final class SftpWords {
  private SftpWords() {}

  static String of(JSchException e) {
    if (e instanceof JSchChangedHostKeyException) {
      return "the server shows another key than the one in the file of known hosts; find out why"
          + " before anything else";
    }
    if (e instanceof JSchHostKeyException) {
      return "the file of known hosts has no key of the server";
    }
    if (String.valueOf(e.getMessage()).startsWith("Auth ")) {
      return "the server does not accept who we are";
    }
    if (e.getCause() instanceof java.io.IOException) {
      return "no connection to the server";
    }
    return "the connection was not made";
  }

  static String status(int id) {
    return id == ChannelSftp.SSH_FX_PERMISSION_DENIED
        ? "the server does not permit it"
        : "there is no such file or folder";
  }
}
